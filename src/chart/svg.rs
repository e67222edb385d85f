pub(super) fn write(_: &super::layout::Laid) -> Result<String, super::ChartError> {
    Ok(String::new())
}
