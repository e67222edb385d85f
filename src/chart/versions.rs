//! Versions of a chart as options, and options as a version.

use super::{Options, Page};
use crate::songlog::versions::{ChartSettings, DegreesAt, Paper, PrintSize, Repeats};

impl From<&ChartSettings> for Options {
    fn from(settings: &ChartSettings) -> Self {
        Self {
            page: match settings.paper {
                None | Some(Paper::A4) => Page::A4,
                Some(Paper::Letter) => Page::Letter,
                Some(Paper::A5) => Page::A5,
            },
            key: settings.key,
            capo: settings.capo,
            tuning: settings.tuning.clone(),
            degrees: settings.degrees == Some(DegreesAt::Instead),
            degrees_under: settings.degrees == Some(DegreesAt::Under),
            large: settings.print == Some(PrintSize::Large),
            compact: settings.print == Some(PrintSize::Compact),
            written_out: settings.repeats == Some(Repeats::WrittenOut),
            short: settings.repeats == Some(Repeats::Short),
            easy: settings.easy,
            left_handed: settings.left_handed,
            landscape: settings.landscape,
            alternatives: settings.alternatives,
            concert: settings.concert,
            save_ink: settings.save_ink,
            steady: settings.steady,
            offset_s: settings.offset_s.unwrap_or(0.0),
            ..Self::default()
        }
    }
}

impl Options {
    /// What of them a version keeps; of two that exclude each other, the first of [`Self::check`].
    pub fn settings(&self) -> ChartSettings {
        let either = |first: bool, second: bool| match (first, second) {
            (true, _) => Some(true),
            (false, true) => Some(false),
            (false, false) => None,
        };
        let paper = match self.page {
            Page::A4 => None,
            Page::Letter => Some(Paper::Letter),
            Page::A5 => Some(Paper::A5),
        };
        ChartSettings {
            paper,
            key: self.key,
            capo: self.capo,
            tuning: self.tuning.clone(),
            degrees: either(self.degrees, self.degrees_under).map(|instead| match instead {
                true => DegreesAt::Instead,
                false => DegreesAt::Under,
            }),
            print: either(self.large, self.compact).map(|large| match large {
                true => PrintSize::Large,
                false => PrintSize::Compact,
            }),
            repeats: either(self.written_out, self.short).map(|out| match out {
                true => Repeats::WrittenOut,
                false => Repeats::Short,
            }),
            easy: self.easy,
            left_handed: self.left_handed,
            landscape: self.landscape,
            alternatives: self.alternatives,
            concert: self.concert,
            save_ink: self.save_ink,
            steady: self.steady,
            offset_s: (self.offset_s != 0.0).then_some(self.offset_s),
        }
    }

    /// Those that a binder of several versions has: the paper and print that all have, else as usual.
    pub fn common<'a>(all: impl IntoIterator<Item = &'a Self>) -> Self {
        let all: Vec<&Self> = all.into_iter().collect();
        let first = all.first();
        let page = first.map(|o| o.page).unwrap_or_default();
        Self {
            page: match all.iter().all(|o| o.page == page) {
                true => page,
                false => Page::default(),
            },
            landscape: first.is_some() && all.iter().all(|o| o.landscape),
            large: first.is_some() && all.iter().all(|o| o.large),
            ..Self::default()
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_version_gives_back_the_options_it_was_made_of() {
        let options = Options {
            page: Page::A5,
            key: "A".parse().ok(),
            capo: Some(2),
            tuning: "drop D".parse().ok(),
            degrees_under: true,
            compact: true,
            short: true,
            easy: true,
            left_handed: true,
            landscape: true,
            alternatives: true,
            concert: true,
            save_ink: true,
            steady: true,
            offset_s: -0.5,
            ..Options::default()
        };
        assert!(options.key.is_some() && options.tuning.is_some());
        let settings = options.settings();
        assert_eq!(Options::from(&settings), options);
        let json = serde_json::to_string(&settings).expect("it is written");
        let read: ChartSettings = serde_json::from_str(&json).expect("it is read");
        assert_eq!(read, settings, "{json}");
        assert_eq!(Options::from(&ChartSettings::default()), Options::default());
    }
}
