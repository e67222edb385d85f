//! stub
use super::{ChartError, Options, sheet::Sheet};
/// x
pub struct Laid;
/// x
pub fn lay_out(_: &Sheet, _: &Options) -> Result<Laid, ChartError> {
    Ok(Laid)
}
