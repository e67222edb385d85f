pub(super) fn write(_: &super::layout::Laid) -> Result<Vec<u8>, super::ChartError> {
    Ok(Vec::new())
}
