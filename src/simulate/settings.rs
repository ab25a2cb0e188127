//! Text of block.toml, session.toml and profiles for simulated practices.

use super::layout::Layout;
use super::scenario::{Scenario, Sync};
use super::sensor::unit_id;
use super::write::BlockPlan;
use crate::frames::{Hand, Site};

/// Name of a session's own profile, where no known one says all that is needed.
pub const OWN_PROFILE: &str = "profile.toml";

const fn hand(scenario: &Scenario) -> &'static str {
    match scenario.hand {
        Hand::Right => "right",
        Hand::Left => "left",
    }
}

/// block.toml of a plan.
pub fn block_toml(plan: &BlockPlan) -> String {
    let standard = Scenario::default();
    let scenario = plan.usual().unwrap_or(&standard);
    let mut text = format!(
        "# simulated: see SIMULATED.txt\nathlete = \"{}\"\nhand = \"{}\"\n",
        plan.athlete,
        hand(scenario)
    );
    if let Some(day) = &plan.returned {
        text += &format!("returned = {day}\n");
    }
    if let Some(day) = &plan.baseline_until {
        text += &format!("baseline = {{ until = {day} }}\n");
    }
    if plan.plan_toml.is_some() {
        text += "plan = \"plan.toml\"\n";
    }
    if !plan.rest_days.is_empty() {
        text += "rest = [\n";
        for week in plan.rest_days.chunks(7) {
            text += &format!("  {},\n", week.join(", "));
        }
        text += "]\n";
    }
    text + &units_toml(scenario)
}

/// What a session's settings say beyond its block's.
pub fn differing(scenario: &Scenario, usual: Option<&Scenario>) -> String {
    let mut text = String::new();
    if usual.is_none_or(|usual| usual.hand != scenario.hand) {
        text += &format!("hand = \"{}\"\n", hand(scenario));
    }
    if scenario.sync == Sync::Shared {
        text += "shared_clock = true\n";
    }
    let own = units_toml(scenario);
    if usual.is_some_and(|usual| units_toml(usual) == own) && own_profile(scenario).is_none() {
        return text;
    }
    text += &own;
    let left_off = usual.into_iter().flat_map(|usual| &usual.sites);
    for site in left_off.filter(|site| !scenario.sites.contains(site)) {
        text += &format!("\n[units.{site}]\nworn = false\n");
    }
    text
}

fn units_toml(scenario: &Scenario) -> String {
    scenario
        .sites
        .iter()
        .map(|&site| unit_toml(scenario, site))
        .collect()
}

fn unit_toml(scenario: &Scenario, site: Site) -> String {
    let (file, id) = if scenario.layout == Layout::CombinedMilliseconds {
        let id = format!("unit_id = \"{}\"\n", unit_id(site));
        ("units.csv.gz".to_owned(), id)
    } else {
        (format!("{site}.csv.gz"), String::new())
    };
    let profile = match own_profile(scenario) {
        Some(_) => OWN_PROFILE,
        None => scenario.layout.profile(),
    };
    format!(
        "\n[units.{site}]\nfile = \"{file}\"\nprofile = \"{profile}\"\naccel_range_g = {}\ngyro_range_dps = {}\n{id}",
        scenario.accel_range_g, scenario.gyro_range_dps,
    )
}

/// A profile for logs with a stated filter delay, or raw counts of another range; none where a
/// known profile says it all.
pub fn own_profile(scenario: &Scenario) -> Option<String> {
    let delay_ms = scenario
        .filter_delay_ms()
        .filter(|_| scenario.filter_stated);
    let counts = scenario.layout == Layout::CountsMicroseconds;
    let usual_range = scenario.accel_range_g == 16.0 && scenario.gyro_range_dps == 2000.0;
    if delay_ms.is_none() && (!counts || usual_range) {
        return None;
    }
    let (delimiter, decimal) = match scenario.layout {
        Layout::SemicolonDecimalComma => (";", ","),
        _ => (",", "."),
    };
    let (time, time_unit, axes, accel_unit, gyro_unit) = match scenario.layout {
        Layout::GDpsSeconds | Layout::SemicolonDecimalComma => ("t", "s", LONG, "g", "deg/s"),
        Layout::SiSeconds => ("t", "s", LONG, "m/s2", "rad/s"),
        Layout::CountsMicroseconds => ("t_us", "us", SHORT, "counts", "counts"),
        Layout::CombinedMilliseconds => ("t_ms", "ms", LONG, "g", "deg/s"),
    };
    let per_unit = |value: f64| {
        if counts {
            format!("counts_per_unit = {value}\n")
        } else {
            String::new()
        }
    };
    let delay = delay_ms.map_or(String::new(), |ms| format!("filter_delay_ms = {ms:.3}\n"));
    let unit = if scenario.layout == Layout::CombinedMilliseconds {
        "\n[unit]\ncolumn = \"unit\"\n"
    } else {
        ""
    };
    Some(format!(
        "name = \"{}-own\"\nabout = \"simulated units\"\n\n[file]\ndelimiter = \"{delimiter}\"\ndecimal = \"{decimal}\"\nheader = true\n\n\
         [time]\ncolumn = \"{time}\"\nunit = \"{time_unit}\"\n\n\
         [accel]\ncolumns = {}\nunit = \"{accel_unit}\"\n{}\n\
         [gyro]\ncolumns = {}\nunit = \"{gyro_unit}\"\n{}{delay}{unit}",
        scenario.layout.profile(),
        axes[0],
        per_unit(32768.0 / scenario.accel_range_g),
        axes[1],
        per_unit(32768.0 / scenario.gyro_range_dps),
    ))
}

const LONG: [&str; 2] = [
    "[\"acc_x\", \"acc_y\", \"acc_z\"]",
    "[\"gyr_x\", \"gyr_y\", \"gyr_z\"]",
];
const SHORT: [&str; 2] = ["[\"ax\", \"ay\", \"az\"]", "[\"gx\", \"gy\", \"gz\"]"];
