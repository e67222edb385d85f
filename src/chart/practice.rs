//! A page to practise with: the chart, the take's sound, and a playhead that follows.
//!
//! One file that asks the network for nothing: style, script, sound and data
//! stand in it, and its own rule (CSP) forbids it to fetch. Every pass is
//! written out, so that a bar is one place in the take. The page decides nothing.

use super::html::{write_entry, write_symbol};
use super::sheet::{Block, Entry, Mark, Measure, Sheet, all_bars};
use super::xml::escape;
use super::{ChartError, Options, PERMISSION, prepare};
use crate::songlog::song::{Bar, Song};
use serde_json::{Value, json};
use std::fmt::Write;

const STYLE: &str = include_str!("practice/page.css");
const SCRIPT: &str = include_str!("practice/page.js");
/// Stands on the page beside the permission of the chart.
const SOUND_CAUTION: &str = "This file holds the recording itself. Pass it on only if whoever \
plays and owns it allows that; local law decides.";

/// The tempos that were reached; the script fills them in. The caution stands where one is about
/// to speed up; common practice, no source.
const PLAN: &str = "<section class=\"plan\" id=\"plan\" aria-labelledby=\"plan-title\">\n\
<h2 id=\"plan-title\">Practice tempos</h2>\n\
<p>Choose a loop and a speed. When it goes well, press <strong>Reached</strong> below; it is noted here for next time. Speed up only once it is easy.</p>\n\
<p><strong>Caution:</strong> take a rest every few minutes. If your hand, arm, neck or back hurts, or a finger goes numb, stop for today and tell your teacher; if it stays, see a doctor.</p>\n\
<table hidden><thead><tr><th scope=\"col\">Loop</th><th scope=\"col\">Last time</th><th scope=\"col\">Today</th><td></td></tr></thead><tbody id=\"tempos\"></tbody></table>\n\
<p class=\"facts\" id=\"kept\"></p>\n\
<p class=\"ways\"><button type=\"button\" id=\"as-text\" aria-expanded=\"false\" aria-controls=\"words\" disabled>Show as text</button> <button type=\"button\" id=\"forget\" disabled>Forget these tempos</button></p>\n\
<div id=\"words\" hidden><label for=\"text\">To copy, or to save as a file</label><textarea id=\"text\" rows=\"8\" readonly></textarea><p class=\"ways\"><a id=\"text-file\" download=\"practice-tempos.txt\">Save as .txt</a></p></div>\n\
</section>\n";

/// The widest cell, half beats: bars have 16 beats at most.
const MOST_HALF_BEATS: u8 = 32;

/// A sound file that a browser plays.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sound {
    /// Its bytes.
    pub bytes: Vec<u8>,
    /// Its media type: `audio/ogg`.
    pub media_type: &'static str,
}

/// The page of a song with its take's sound.
///
/// # Errors
/// As [`write`](super::write()).
pub fn practice(song: &Song, options: &Options, sound: &Sound) -> Result<Vec<u8>, ChartError> {
    let options = Options {
        written_out: true,
        short: false,
        ..options.clone()
    };
    let song = prepare(song, &options)?;
    let sheet = Sheet::new(&song, &options)?;
    let bars = all_bars(&song);
    let mut out = String::new();
    head(&mut out, &sheet, &options);
    let mut places = bars.iter();
    for block in &sheet.blocks {
        section(&mut out, block, &mut places);
    }
    foot(&mut out, &sheet);
    controls(&mut out);
    let data = data(&song, &sheet, &bars);
    // a page of data ends where its element does: no '<' in it
    let data = data.to_string().replace('<', "\\u003c");
    let _ = write!(
        out,
        "<script type=\"application/json\" id=\"song\">{data}</script>\n\
         <script type=\"text/plain\" id=\"sound\" data-type=\"{}\">{}</script>\n\
         <script>\n{SCRIPT}</script>\n</body>\n</html>\n",
        sound.media_type,
        base64(&sound.bytes)
    );
    Ok(out.into_bytes())
}

/// Up to the chart: title, facts, diagrams.
fn head(out: &mut String, sheet: &Sheet, options: &Options) {
    let title = escape(&sheet.title);
    let named = if title.trim().is_empty() {
        "Chart"
    } else {
        &title
    };
    let facts: Vec<String> = sheet.facts.iter().map(|f| escape(f)).collect();
    let _ = write!(
        out,
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; \
         script-src 'unsafe-inline'; style-src 'unsafe-inline'; media-src blob:\">\n\
         <title>{named}</title>\n<style>\n{STYLE}{}</style>\n</head>\n<body>\n\
         <header>\n<h1 dir=\"auto\">{named}</h1>\n<p class=\"facts\">{}</p>\n",
        (1..=MOST_HALF_BEATS)
            .map(|n| format!(".g{n}{{flex-grow:{n}}}"))
            .collect::<String>(),
        facts.join(" &middot; ")
    );
    if let Some(credit) = &sheet.credit {
        let _ = writeln!(
            out,
            "<p class=\"facts\" dir=\"auto\">{}</p>",
            escape(credit)
        );
    }
    if let Some(words) = sheet.doubt_words() {
        let _ = writeln!(out, "<p class=\"facts\">{}</p>", escape(&words));
    }
    out.push_str("</header>\n<main>\n");
    if sheet.legend.is_empty() {
        return;
    }
    out.push_str(
        "<section class=\"shapes\" id=\"shapes\" tabindex=\"0\" aria-label=\"Chord diagrams\">\n",
    );
    for entry in &sheet.legend {
        write_entry(out, entry, options);
    }
    out.push_str("</section>\n");
}

/// A section with its bars, each a button.
fn section<'a>(out: &mut String, block: &Block, places: &mut impl Iterator<Item = &'a Bar>) {
    let heading = escape(&block.heading());
    out.push_str("<section class=\"part\">\n");
    if !heading.is_empty() {
        let _ = writeln!(out, "<h2 dir=\"auto\">{heading}</h2>");
    }
    for row in &block.rows {
        if let Some(key) = row.first().and_then(Measure::key_text) {
            let _ = writeln!(out, "<p class=\"key\">{}</p>", escape(&key));
        }
        out.push_str("<div class=\"line\">\n");
        for (measure, _) in row.iter().zip(&mut *places) {
            bar(out, measure);
        }
        out.push_str("</div>\n");
    }
    out.push_str("</section>\n");
}

fn bar(out: &mut String, measure: &Measure) {
    let class = match measure.number {
        0 => "bar pickup",
        _ => "bar",
    };
    let number = match measure.number {
        0 => "<span class=\"quiet\">pickup</span>".to_owned(),
        n => format!("<span class=\"quiet\">bar </span>{n}"),
    };
    let _ = write!(
        out,
        "<button type=\"button\" class=\"{class}\"><span class=\"no\">{number}<span class=\"quiet\">: </span></span>",
    );
    out.push_str("<span class=\"cells\">");
    for (i, mark) in measure.marks.iter().enumerate() {
        let from = if i == 0 { 0 } else { mark.half_beat };
        let to = measure
            .marks
            .get(i + 1)
            .map_or(2 * measure.n_beats, |next| next.half_beat);
        let width = to.saturating_sub(from).clamp(1, MOST_HALF_BEATS);
        let _ = write!(out, "<span class=\"cell g{width}\">");
        write_symbol(out, &mark.symbol, mark.open);
        if let Some(variant) = mark.variant {
            let _ = write!(out, "<sup>({variant})</sup>");
        }
        if mark.open {
            out.push_str("<span class=\"quiet\"> not confirmed</span>");
        }
        out.push_str("</span> ");
    }
    out.push_str("</span>");
    for words in measure.lyrics.iter().filter(|l| !l.is_empty()) {
        let _ = write!(
            out,
            "<span class=\"words\" dir=\"auto\">{}</span>",
            escape(words)
        );
    }
    out.push_str("<span class=\"beats\" aria-hidden=\"true\">");
    for _ in 0..measure.n_beats {
        out.push_str("<i></i>");
    }
    out.push_str("</span></button>\n");
}

/// Notes and cautions under the chart.
fn foot(out: &mut String, sheet: &Sheet) {
    let remarks = sheet.remarks.iter().chain(&sheet.notes);
    let remarks: Vec<String> = remarks.map(|r| escape(r)).collect();
    if !remarks.is_empty() {
        out.push_str("<section>\n<h2>Notes</h2>\n<ul>\n");
        for remark in remarks {
            let _ = writeln!(out, "<li dir=\"auto\">{remark}</li>");
        }
        out.push_str("</ul>\n</section>\n");
    }
    out.push_str(PLAN);
    out.push_str("</main>\n<footer>\n");
    for caution in &sheet.cautions {
        let _ = writeln!(out, "<p><strong>Caution:</strong> {}</p>", escape(caution));
    }
    let _ = write!(
        out,
        "<p>{}</p>\n<p>{SOUND_CAUTION}</p>\n<p>Keep the volume moderate, above all on headphones.</p>\n</footer>\n",
        escape(PERMISSION)
    );
}

/// The bar of controls; the script brings it to life.
fn controls(out: &mut String) {
    out.push_str(
        "<section class=\"controls\" aria-label=\"Playing\">\n\
         <button type=\"button\" id=\"play\">Play</button>\n\
         <p id=\"place\" aria-live=\"off\">bar 1</p>\n\
         <span class=\"pair\"><label>Speed <input type=\"range\" id=\"speed\" min=\"50\" max=\"110\" step=\"5\" value=\"100\"></label> <output id=\"percent\" for=\"speed\">100 %</output></span>\n\
         <label><input type=\"checkbox\" id=\"count\"> Count-in</label>\n\
         <label>Loop <select id=\"loop\"><option value=\"\">off</option><option value=\"part\">this section</option><option value=\"bars\">bars</option></select></label>\n\
         <span id=\"range\" hidden><label>from bar <input type=\"number\" id=\"from\" min=\"0\" inputmode=\"numeric\"></label> <label>to bar <input type=\"number\" id=\"to\" min=\"0\" inputmode=\"numeric\"></label></span>\n\
         <button type=\"button\" id=\"reached\">Reached</button>\n\
         <label><input type=\"checkbox\" id=\"larger\"> Larger text</label>\n\
         <p id=\"trouble\" role=\"alert\"></p>\n</section>\n",
    );
}

/// Bars, beats and chords in seconds, for the script.
fn data(song: &Song, sheet: &Sheet, bars: &[Bar]) -> Value {
    let round = |s: f64| (s * 1000.0).round() / 1000.0;
    let measures = sheet.blocks.iter().enumerate();
    let measures = measures.flat_map(|(part, b)| b.measures().map(move |m| (part, m)));
    let mut shown: Vec<Value> = Vec::new();
    let mut chords: Vec<Value> = Vec::new();
    for ((part, measure), bar) in measures.zip(bars) {
        let inside: Vec<f64> = song
            .beats_s
            .iter()
            .copied()
            .filter(|t| *t > bar.start_s - 0.02 && *t < bar.end_s - 0.02)
            .collect();
        let n = usize::from(measure.n_beats.max(1));
        let beats: Vec<f64> = match inside.len() == n {
            true => inside.into_iter().map(round).collect(),
            false => (0..n)
                .map(|b| bar.start_s + (bar.end_s - bar.start_s) * b as f64 / n as f64)
                .map(round)
                .collect(),
        };
        shown.push(json!({
            "number": measure.number,
            "part": part,
            "start": round(bar.start_s),
            "end": round(bar.end_s),
            "beats": beats,
        }));
        for mark in measure.marks.iter().filter(|m| !m.held) {
            let span = &song.spans[mark.span];
            chords.push(json!({
                "start": round(span.start_s),
                "end": round(span.end_s),
                "shape": shape(&sheet.legend, mark),
            }));
        }
    }
    json!({
        "bars": shown,
        "chords": chords,
        "title": sheet.title,
        "bpm": song.tempo_bpm.map(round),
        // tells what is kept of this song from that of others
        "id": format!("{} {} {:.1}", sheet.title, bars.len(), song.duration_s),
    })
}

/// Which diagram a chord has.
fn shape(legend: &[Entry], mark: &Mark) -> Option<usize> {
    legend
        .iter()
        .position(|e| e.symbol == mark.symbol && e.variant == mark.variant)
}

/// Bytes as text.
///
/// # Source
/// IETF RFC 4648, section 4.
fn base64(bytes: &[u8]) -> String {
    const SIGNS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for three in bytes.chunks(3) {
        let bits = (0..3).fold(0u32, |bits, i| {
            bits << 8 | u32::from(three.get(i).copied().unwrap_or(0))
        });
        for i in 0..4 {
            let sign = SIGNS[(bits >> (18 - 6 * i) & 63) as usize];
            out.push(if i > three.len() {
                '='
            } else {
                char::from(sign)
            });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    /// The test vectors of RFC 4648, section 10.
    #[test]
    fn bytes_as_text_follow_the_standard() {
        let cases = [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ];
        for (bytes, text) in cases {
            assert_eq!(super::base64(bytes.as_bytes()), text);
        }
    }
}
