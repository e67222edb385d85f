//! Labelled spans in time, and making two timelines cover the same stretch.

use super::GradingError;

/// One labelled span.
#[derive(Debug, Clone, PartialEq)]
pub struct LabelledSpan {
    /// From, s.
    pub start_s: f64,
    /// To, s, later than `start_s`.
    pub end_s: f64,
    /// A chord label, a section letter, as written.
    pub label: String,
    /// Line of the text it came from, from 1; 0 if from none.
    pub line: usize,
}

/// Spans in order that do not overlap. Gaps are allowed.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Timeline {
    spans: Vec<LabelledSpan>,
}

/// Overlap up to this is rounding of the writer and cut off, s: a millisecond
/// is the coarsest step in which such files are written.
const ROUNDING_S: f64 = 0.001;

impl Timeline {
    /// A timeline from spans.
    ///
    /// A span that starts up to 1 ms before the one above it ends cuts that one short.
    ///
    /// # Errors
    /// * [`GradingError::Time`] for a negative or endless time.
    /// * [`GradingError::Backwards`] for a span without length.
    /// * [`GradingError::Overlap`] for spans out of order or overlapping.
    pub fn new(spans: Vec<LabelledSpan>) -> Result<Self, GradingError> {
        let mut kept: Vec<LabelledSpan> = Vec::with_capacity(spans.len());
        for span in spans {
            for time in [span.start_s, span.end_s] {
                if !time.is_finite() || time < 0.0 {
                    return Err(GradingError::Time {
                        line: span.line,
                        found: time.to_string(),
                    });
                }
            }
            if span.end_s <= span.start_s {
                return Err(GradingError::Backwards {
                    line: span.line,
                    start_s: span.start_s,
                    end_s: span.end_s,
                });
            }
            if let Some(before) = kept.last_mut()
                && before.end_s > span.start_s
            {
                let rounded = before.end_s - span.start_s <= ROUNDING_S;
                if !rounded || span.start_s <= before.start_s {
                    return Err(GradingError::Overlap {
                        line: span.line,
                        start_s: span.start_s,
                        before_end_s: before.end_s,
                    });
                }
                before.end_s = span.start_s;
            }
            kept.push(span);
        }
        Ok(Self { spans: kept })
    }

    /// A timeline from start, end (s) and label, as a log holds them.
    ///
    /// # Errors
    /// As [`Timeline::new`].
    ///
    /// # Example
    /// ```
    /// use takebook::grading::Timeline;
    /// let take = Timeline::from_parts([(0.0, 2.0, "G:maj"), (2.0, 4.0, "D:maj/3")]).unwrap();
    /// assert_eq!(take.end_s(), Some(4.0));
    /// ```
    pub fn from_parts<'a>(
        parts: impl IntoIterator<Item = (f64, f64, &'a str)>,
    ) -> Result<Self, GradingError> {
        Self::new(
            parts
                .into_iter()
                .map(|(start_s, end_s, label)| LabelledSpan {
                    start_s,
                    end_s,
                    label: label.into(),
                    line: 0,
                })
                .collect(),
        )
    }

    /// The spans in order.
    pub fn spans(&self) -> &[LabelledSpan] {
        &self.spans
    }

    /// Start of the first span, s.
    pub fn start_s(&self) -> Option<f64> {
        self.spans.first().map(|s| s.start_s)
    }

    /// End of the last span, s.
    pub fn end_s(&self) -> Option<f64> {
        self.spans.last().map(|s| s.end_s)
    }

    /// The stretches between spans where nothing is said, s.
    pub fn gaps(&self) -> Vec<(f64, f64)> {
        self.spans
            .windows(2)
            .filter(|w| w[1].start_s > w[0].end_s)
            .map(|w| (w[0].end_s, w[1].start_s))
            .collect()
    }

    /// The same timeline cut to `start_s..end_s`, missing ends labelled `fill`.
    ///
    /// Gaps inside stay gaps.
    #[must_use]
    pub fn fitted(&self, start_s: f64, end_s: f64, fill: &str) -> Self {
        self.fitted_with(start_s, end_s, fill, fill)
    }

    /// As [`Timeline::fitted`], with one label before the first span and another after the last.
    pub(super) fn fitted_with(&self, start_s: f64, end_s: f64, before: &str, after: &str) -> Self {
        let filler = |start_s, end_s, fill: &str| LabelledSpan {
            start_s,
            end_s,
            label: fill.into(),
            line: 0,
        };
        let mut spans: Vec<LabelledSpan> = self
            .spans
            .iter()
            .map(|s| LabelledSpan {
                start_s: s.start_s.max(start_s),
                end_s: s.end_s.min(end_s),
                ..s.clone()
            })
            .filter(|s| s.end_s > s.start_s)
            .collect();
        match (spans.first(), spans.last()) {
            (Some(first), Some(last)) => {
                let (from, to) = (first.start_s, last.end_s);
                if from > start_s {
                    spans.insert(0, filler(start_s, from, before));
                }
                if to < end_s {
                    spans.push(filler(to, end_s, after));
                }
            }
            _ => spans.push(filler(start_s, end_s, before)),
        }
        Self { spans }
    }
}
