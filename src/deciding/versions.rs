//! Versions of a chart, as they are asked for.

use super::DecideError;
use crate::songlog::decided::Act;
use crate::songlog::song::{ChartVersion, Song};
use crate::songlog::versions::{ChartSettings, is_same_name};

/// A version of the chart to be saved.
#[derive(Debug, Clone, PartialEq, Default, serde::Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(default, deny_unknown_fields)]
pub struct VersionRequest {
    /// Its name.
    pub name: String,
    /// Whom it is for.
    pub student: Option<String>,
    /// How the chart is written.
    pub settings: ChartSettings,
    /// In place of the version that has the name already.
    pub replace: bool,
}

/// The acts that remove a version and save one.
///
/// Takes what is to be saved, the name of what is to be removed, and the song, if there is one.
///
/// # Errors
/// * [`DecideError::Asked`] for a version without a name, a name that is used already, or one
///   to be removed that is not there.
pub(super) fn acts(
    wanted: Option<&VersionRequest>,
    removed: Option<&str>,
    song: Option<&Song>,
) -> Result<Vec<Act>, DecideError> {
    let versions: &[ChartVersion] = song.map_or(&[], |song| &song.versions);
    let known = |name: &str| versions.iter().find(|v| is_same_name(&v.name, name));
    let mut acts = Vec::new();
    if let Some(wanted) = removed {
        let Some(version) = known(wanted) else {
            let names: Vec<String> = versions.iter().map(ChartVersion::named).collect();
            let there = match names.is_empty() {
                true => "the song has none".to_owned(),
                false => format!("there is {}", names.join(", ")),
            };
            return Err(DecideError::asked(format!(
                "there is no version '{}' to remove: {there}",
                wanted.trim()
            )));
        };
        acts.push(Act::ChartVersionRemoved {
            name: version.name.clone(),
        });
    }
    if let Some(wanted) = wanted {
        let name = wanted.name.trim();
        if name.is_empty() {
            return Err(DecideError::asked(
                "a version needs a name, for example Beginner",
            ));
        }
        if let (Some(version), false) = (known(name), wanted.replace) {
            return Err(DecideError::asked(format!(
                "there is a version {} already; not replaced (give another name, or ask to replace it: --overwrite)",
                version.named()
            )));
        }
        let student = wanted.student.as_deref().map(str::trim);
        acts.push(Act::ChartVersion {
            name: name.to_owned(),
            student: student.filter(|s| !s.is_empty()).map(str::to_owned),
            settings: wanted.settings.clone(),
        });
    }
    Ok(acts)
}
