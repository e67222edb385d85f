//! How far a string is off, as a bar that grows from the middle to the side it is off to.

/// The bar on `width` columns (odd), 50 cents to each side; a string that is in tune fills
/// only the middle.
pub(super) fn needle(cents: f64, width: usize) -> String {
    let half = (width.max(11) - 1) as i64 / 2;
    let to = (cents / 50.0 * half as f64).round() as i64;
    let to = to.clamp(-half, half);
    (-half..=half)
        .map(|at| match at {
            0 => '┃',
            _ if at > 0 && at <= to || at < 0 && at >= to => '▇',
            _ if at.abs() == half => '╵',
            _ => '·',
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_bar_grows_to_the_side_the_string_is_off_to() {
        assert_eq!(needle(0.4, 11), "╵····┃····╵");
        assert_eq!(needle(-20.0, 11), "╵··▇▇┃····╵");
        assert_eq!(needle(30.0, 11), "╵····┃▇▇▇·╵");
        assert_eq!(needle(-80.0, 11), "▇▇▇▇▇┃····╵");
    }
}
