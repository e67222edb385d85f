//! Large letters for a music stand: chord symbols and notes of blocks, read from afar.
//!
//! The letters are drawn for this program, five dots high, on three to five columns.

/// A letter: five rows from the top, `#` for a dot.
type Letter = (char, [&'static str; 5]);

#[rustfmt::skip]
const LETTERS: [Letter; 38] = [
    ('A', [".##.", "#..#", "####", "#..#", "#..#"]),
    ('B', ["###.", "#..#", "###.", "#..#", "###."]),
    ('C', [".###", "#...", "#...", "#...", ".###"]),
    ('D', ["###.", "#..#", "#..#", "#..#", "###."]),
    ('E', ["####", "#...", "###.", "#...", "####"]),
    ('F', ["####", "#...", "###.", "#...", "#..."]),
    ('G', [".###", "#...", "#.##", "#..#", ".###"]),
    ('N', ["#..#", "##.#", "#.##", "#..#", "#..#"]),
    ('0', [".##.", "#..#", "#..#", "#..#", ".##."]),
    ('1', [".#.", "##.", ".#.", ".#.", "###"]),
    ('2', ["###.", "...#", ".##.", "#...", "####"]),
    ('3', ["###.", "...#", ".##.", "...#", "###."]),
    ('4', ["#..#", "#..#", "####", "...#", "...#"]),
    ('5', ["####", "#...", "###.", "...#", "###."]),
    ('6', [".###", "#...", "###.", "#..#", ".##."]),
    ('7', ["####", "...#", "..#.", ".#..", ".#.."]),
    ('8', [".##.", "#..#", ".##.", "#..#", ".##."]),
    ('9', [".##.", "#..#", ".###", "...#", "###."]),
    ('a', ["....", ".##.", "..##", "#.##", ".###"]),
    ('b', ["#...", "#...", "###.", "#..#", "###."]),
    ('d', ["...#", "...#", ".###", "#..#", ".###"]),
    ('g', ["....", ".###", "#..#", ".###", "###."]),
    ('i', [".#.", "...", ".#.", ".#.", ".#."]),
    ('j', ["..#", "...", "..#", "..#", "##."]),
    ('m', [".....", "##.#.", "#.#.#", "#.#.#", "#.#.#"]),
    ('n', ["....", "###.", "#..#", "#..#", "#..#"]),
    ('o', ["....", ".##.", "#..#", "#..#", ".##."]),
    ('s', ["....", ".###", "##..", "..##", "###."]),
    ('u', ["....", "#..#", "#..#", "#..#", ".###"]),
    ('♯', [".#.#.", "#####", ".#.#.", "#####", ".#.#."]),
    ('♭', ["#..", "#..", "##.", "#.#", "##."]),
    ('/', ["...#", "..#.", "..#.", ".#..", "#..."]),
    ('(', [".#", "#.", "#.", "#.", ".#"]),
    (')', ["#.", ".#", ".#", ".#", "#."]),
    ('+', ["...", ".#.", "###", ".#.", "..."]),
    ('°', [".#.", "#.#", ".#.", "...", "..."]),
    ('ø', ["...#", ".##.", "#.##", "##.#", "###."]),
    (' ', ["..", "..", "..", "..", ".."]),
];

/// Rows of every letter.
const ROWS: usize = 5;
/// Sizes of a dot that are tried, columns and rows; a column is half as wide as high.
const DOTS: [(usize, usize); 4] = [(6, 3), (4, 2), (2, 1), (1, 1)];

/// The text as lines of blocks, as large as fits so many columns and rows; none if it does not
/// fit, or has a letter that is not drawn here.
pub(super) fn large(text: &str, columns: usize, rows: usize) -> Option<Vec<String>> {
    let letters: Vec<&[&str; ROWS]> = text
        .chars()
        .map(|c| LETTERS.iter().find(|(l, _)| *l == c).map(|(_, dots)| dots))
        .collect::<Option<_>>()?;
    // a dot between letters
    let n_dots: usize = letters.iter().map(|l| l[0].chars().count() + 1).sum();
    let (wide, high) = DOTS
        .into_iter()
        .find(|(wide, high)| wide * n_dots <= columns && high * ROWS <= rows)?;
    let line = |row: usize| -> String {
        let dots = letters.iter().flat_map(|l| l[row].chars().chain(['.']));
        dots.map(|d| if d == '#' { "█" } else { " " }.repeat(wide))
            .collect::<String>()
    };
    Some(
        (0..ROWS)
            .flat_map(|row| std::iter::repeat_n(line(row).trim_end().to_owned(), high))
            .collect(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_letter_is_even_and_symbols_fit_a_narrow_terminal() {
        for (letter, rows) in &LETTERS {
            let widths: Vec<usize> = rows.iter().map(|r| r.chars().count()).collect();
            assert!(widths.iter().all(|w| *w == widths[0]), "{letter}");
        }
        for symbol in ["C", "F♯m7", "B♭maj7", "G/B", "Dsus4", "A(add9)", "E7"] {
            let lines = large(symbol, 39, 15).unwrap_or_else(|| panic!("{symbol}"));
            assert!(lines.len() >= ROWS);
            assert!(lines.iter().all(|l| l.chars().count() <= 39), "{symbol}");
        }
        assert_eq!(large("C", 80, 20).map(|l| l.len()), Some(15));
        assert_eq!(large("?", 80, 20), None);
    }
}
