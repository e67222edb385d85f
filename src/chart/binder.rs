//! A binder: many songs in one PDF, with contents and page numbers.

use super::layout::{Group, Item, Laid, MARGIN, Pager, Pen, Role, Style, lay_out};
use super::sheet::Sheet;
use super::{ChartError, Options, PERMISSION, pdf, prepare};
use crate::songlog::song::Song;
use rayon::prelude::*;

/// One song as it lies in the binder.
struct Bound {
    title: String,
    /// Key and number of unconfirmed chords, for the contents.
    facts: String,
    laid: Laid,
}

/// Lays songs out in the order given and binds them.
///
/// Takes the binder's title, the songs, options that hold for each, and what is
/// called after each song. The pages of the contents come first and are counted.
///
/// # Errors
/// The index of the first song that cannot be charted, and why, as [`super::write`].
pub fn binder(
    title: &str,
    songs: &[Song],
    options: &Options,
    done: &(dyn Fn() + Sync),
) -> Result<Vec<u8>, (usize, ChartError)> {
    let each: Vec<(&Song, &Options)> = songs.iter().map(|song| (song, options)).collect();
    bind_all(title, &each, options, done)
}

/// As [`binder`], each song with options of its own, but for the paper: that is the binder's.
///
/// # Errors
/// As [`binder`].
pub fn binder_of_versions(
    title: &str,
    songs: &[(Song, Options)],
    options: &Options,
    done: &(dyn Fn() + Sync),
) -> Result<Vec<u8>, (usize, ChartError)> {
    let on_paper: Vec<Options> = songs
        .iter()
        .map(|(_, own)| Options {
            page: options.page,
            landscape: options.landscape,
            ..own.clone()
        })
        .collect();
    let songs = songs.iter().map(|(song, _)| song);
    let each: Vec<(&Song, &Options)> = songs.zip(&on_paper).collect();
    bind_all(title, &each, options, done)
}

fn bind_all(
    title: &str,
    songs: &[(&Song, &Options)],
    options: &Options,
    done: &(dyn Fn() + Sync),
) -> Result<Vec<u8>, (usize, ChartError)> {
    let bound: Vec<Bound> = songs
        .par_iter()
        .enumerate()
        .map(|(i, (song, options))| {
            let bound = bind(song, options).map_err(|e| (i, e));
            done();
            bound
        })
        .collect::<Result<_, _>>()?;
    finish(title, bound, options).map_err(|e| (0, e))
}

fn bind(song: &Song, options: &Options) -> Result<Bound, ChartError> {
    let song = prepare(song, options)?;
    let sheet = Sheet::new(&song, options)?;
    let mut facts = song.key.map_or_else(String::new, |k| k.text());
    if sheet.n_open > 0 {
        facts.push_str(&format!("  ({} not confirmed)", sheet.n_open));
    }
    Ok(Bound {
        title: match super::xml::one_line(&sheet.title).trim() {
            "" => "(no title)".into(),
            title => title.to_owned(),
        },
        facts,
        laid: lay_out(&sheet, options)?,
    })
}

fn finish(title: &str, bound: Vec<Bound>, options: &Options) -> Result<Vec<u8>, ChartError> {
    // how long the contents are depends on no number in them, so the first try shows it
    let n_contents = contents(title, &bound, options, 0)?.len();
    let mut pages = contents(title, &bound, options, n_contents)?;
    let mut outline = Vec::new();
    for song in bound {
        pages.resize(
            begins(pages.len(), song.laid.pages.len(), options),
            Vec::new(),
        );
        outline.push((song.title, pages.len()));
        pages.extend(song.laid.pages);
    }
    let mut laid = Laid {
        title: title.into(),
        size_mm: options.size_mm(),
        pages,
        outline,
        facing: options.large && !options.two_sided,
    };
    number(&mut laid, options)?;
    pdf::write(&laid)
}

/// The page (from 0) that a song of `n_pages` begins on, after `so_far` pages. One of several
/// pages begins on the left, so that it lies open without a turn: in large print on a screen,
/// where the first page is on the left, and in print on both sides, where it is on the right.
fn begins(so_far: usize, n_pages: usize, options: &Options) -> usize {
    let odd = so_far % 2;
    match (n_pages > 1, options.two_sided, options.large) {
        (true, true, _) => so_far + 1 - odd,
        (true, _, true) => so_far + odd,
        _ => so_far,
    }
}

/// The pages of the contents; the first song starts `after` pages from the binder's first.
fn contents(
    title: &str,
    bound: &[Bound],
    options: &Options,
    after: usize,
) -> Result<Vec<Vec<Group>>, ChartError> {
    let mut page = Pager::new(options)?;
    page.title(title)?;
    page.gap(4.0);
    let size = page.points(11.0);
    let small = page.points(8.5);
    let mut before = after;
    for song in bound {
        before = begins(before, song.laid.pages.len(), options);
        let number = before + 1;
        page.need(size * 1.7);
        page.y += size * 1.5;
        let y = page.y;
        let right = page.size_mm.0 - MARGIN;
        let text = number.to_string();
        let number_width = page.fonts.width(Style::Regular, size, &text)?;
        let facts_width = page.fonts.width(Style::Italic, small, &song.facts)?;
        let room = right - MARGIN - number_width - facts_width - 14.0;
        let mut lines = page.wrap(&song.title, Style::Regular, size, room)?;
        let first = lines.swap_remove(0);
        let shown = if lines.is_empty() {
            first
        } else {
            format!("{first} …")
        };
        let mut items = vec![page.text_item(MARGIN, y, size, Style::Regular, &shown)];
        let from = MARGIN + page.fonts.width(Style::Regular, size, &shown)? + 2.0;
        let facts_left = right - number_width - facts_width - 6.0;
        items.push(page.text_item(facts_left, y, small, Style::Italic, &song.facts));
        items.push(page.text_item(right - number_width, y, size, Style::Regular, &text));
        if facts_left - 2.0 > from {
            items.push(Item::Line {
                from: (from, y),
                to: (facts_left - 2.0, y),
                width: 0.25,
                pen: Pen::Dots,
            });
        }
        let words = format!("{}, page {number}", song.title);
        page.add(Role::Row(words), items);
        before += song.laid.pages.len();
    }
    page.gap(4.0);
    page.paragraph(PERMISSION, Style::Regular, 7.5)?;
    Ok(page.pages)
}

/// Puts the binder's page number in the middle of each foot; a blank page has none.
fn number(laid: &mut Laid, options: &Options) -> Result<(), ChartError> {
    let pager = Pager::new(options)?;
    let (w, h) = laid.size_mm;
    let size = 9.0 * super::layout::POINT;
    for (i, page) in laid.pages.iter_mut().enumerate() {
        if page.is_empty() {
            continue;
        }
        let text = (i + 1).to_string();
        let width = pager.fonts.width(Style::Regular, size, &text)?;
        let item = pager.text_item((w - width) / 2.0, h - 10.0, size, Style::Regular, &text);
        page.push(Group {
            role: Role::Foot,
            items: vec![item],
        });
    }
    Ok(())
}
