//! Colours and style sheets. One list of colours for light and dark; pictures name them by role.
//!
//! Segment colours: Okabe & Ito 2008 ("Color Universal Design"), chosen to be told apart by all colour
//! vision types; each goes with its own dash and letter. Contrast of text is at least 4.5 to 1 and of
//! marks at least 3 to 1 in both themes (WCAG 2.2, 1.4.3 and 1.4.11); a test measures it.

/// Role, light, dark.
pub(super) const COLOURS: [(&str, &str, &str); 12] = [
    ("paper", "#ffffff", "#15181b"),
    ("ink", "#1a1d21", "#e9ebee"),
    ("muted", "#565c64", "#a7aeb7"),
    ("rule", "#d5d9de", "#3a4047"),
    ("band", "#e9ecf0", "#2a2f35"),
    ("link", "#0b5394", "#8cc4f0"),
    ("note", "#f4f1e6", "#2b2819"),
    ("hip", "#0072b2", "#56b4e9"),
    ("trunk", "#d55e00", "#e69f00"),
    ("arm", "#009e73", "#009e73"),
    ("wrist", "#1a1d21", "#e9ebee"),
    ("usual", "#8a6a9a", "#b79ac8"),
];

const PICTURES: &str = include_str!("pictures.css");
const PAGE: &str = include_str!("page.css");

fn variables(pick: impl Fn(&(&str, &str, &str)) -> String) -> String {
    COLOURS.iter().map(pick).collect()
}

/// The page's whole style sheet.
pub(super) fn page_style() -> String {
    let light = variables(|(role, light, _)| format!("--{role}:{light};"));
    let dark = variables(|(role, _, dark)| format!("--{role}:{dark};"));
    let text = format!(
        ":root{{color-scheme:light dark;{light}}}@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}{PAGE}{PICTURES}"
    );
    text.lines().map(str::trim).collect::<Vec<_>>().join("\n")
}

/// The style of a picture that stands alone: light.
pub(super) fn file_style() -> String {
    let mut text = PICTURES.to_owned();
    for (role, light, _) in COLOURS {
        text = text.replace(&format!("var(--{role})"), light);
    }
    text
}
