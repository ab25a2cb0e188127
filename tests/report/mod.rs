//! Pages and tables.

pub mod page;
mod tables;

use overarm::report::{Align, clock, pain_entered, plus_minus, table};

#[test]
fn columns_line_up_under_their_rule() {
    let columns = [("name", Align::Left), ("n", Align::Right)];
    let text = table(
        &columns,
        &[
            vec!["a".into(), "12".into()],
            vec!["long".into(), "3".into()],
        ],
    );
    let lines: Vec<&str> = text.lines().collect();
    assert_eq!(lines.len(), 4, "{text}");
    assert!(lines[1].chars().all(|c| c == '-' || c == ' '), "{text}");
    assert_eq!(lines[2].len(), lines[3].len(), "{text}");
    println!("{text}");
}

#[test]
fn number_forms() {
    assert_eq!(clock(725.34), "12:05.3");
    assert_eq!(clock(59.96), "1:00.0");
    assert_eq!(clock(-1.25), "\u{2212}0:01.3");
    assert_eq!(plus_minus(20.6, 3.7), "+21 ± 4");
    assert_eq!(plus_minus(-0.2, 0.1), "+0 ± 1");
}

#[test]
fn pain_is_anything_but_none() {
    assert!(!pain_entered(None) && !pain_entered(Some("none")) && !pain_entered(Some(" No ")));
    assert!(pain_entered(Some("front of the shoulder")));
}
