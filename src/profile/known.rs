//! The profiles that come with the program, and how any profile is found.

use std::path::Path;

use super::{SensorProfile, TextError, TextFault, nearest};

/// Name and text of each profile in `sensor-profiles/`.
const KNOWN: [(&str, &str); 5] = [
    (
        "g-dps-seconds",
        include_str!("../../sensor-profiles/g-dps-seconds.toml"),
    ),
    (
        "si-seconds",
        include_str!("../../sensor-profiles/si-seconds.toml"),
    ),
    (
        "semicolon-decimal-comma",
        include_str!("../../sensor-profiles/semicolon-decimal-comma.toml"),
    ),
    (
        "counts-microseconds",
        include_str!("../../sensor-profiles/counts-microseconds.toml"),
    ),
    (
        "combined-milliseconds",
        include_str!("../../sensor-profiles/combined-milliseconds.toml"),
    ),
];

/// Names of the profiles that come with the program.
pub fn known_names() -> impl Iterator<Item = &'static str> {
    KNOWN.into_iter().map(|(name, _)| name)
}

/// Text of a profile that comes with the program.
pub fn known_text(name: &str) -> Option<&'static str> {
    KNOWN
        .into_iter()
        .find(|(known, _)| *known == name)
        .map(|(_, text)| text)
}

/// The profile of that name, or in the file of that path relative to `folder`.
///
/// # Errors
/// When there is no such profile, or its text is faulty.
pub fn resolve(name_or_path: &str, folder: &Path) -> Result<SensorProfile, TextError> {
    if let Some(text) = known_text(name_or_path) {
        return SensorProfile::parse(text, Path::new(name_or_path));
    }
    let path = folder.join(name_or_path);
    if path.is_file() {
        let text = std::fs::read_to_string(&path)
            .map_err(|error| TextError::whole(&path, TextFault::Unreadable(error.to_string())))?;
        return SensorProfile::parse(&text, &path);
    }
    let fault = TextFault::NoProfile {
        name: name_or_path.to_owned(),
        nearest: nearest(name_or_path, known_names()).map(str::to_owned),
    };
    Err(TextError::whole(folder, fault))
}
