//! The published schemas say what the types say.
//!
//! `docs/decision-request.schema.json` is generated: after a change of
//! [`DecisionRequest`] write it anew with
//! `UPDATE_SCHEMAS=1 cargo test --release --lib schemas`.

use super::DecisionRequest;
use crate::songlog::decided::Act;
use schemars::generate::SchemaSettings;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

fn docs(name: &str) -> PathBuf {
    std::path::Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("docs")
        .join(name)
}

fn generated<T: schemars::JsonSchema>() -> Value {
    let settings = SchemaSettings::draft2020_12().with(|s| s.inline_subschemas = true);
    let mut schema = settings.into_generator().into_root_schema_for::<T>().into();
    without_defaults(&mut schema);
    schema
}

/// A default is there only for types that can be written, which says nothing to a reader.
fn without_defaults(schema: &mut Value) {
    match schema {
        Value::Object(fields) => {
            fields.retain(|name, value| name != "default" || value.is_object());
            fields.values_mut().for_each(without_defaults);
        }
        Value::Array(all) => all.iter_mut().for_each(without_defaults),
        _ => {}
    }
}

fn published(name: &str) -> Value {
    let text = std::fs::read_to_string(docs(name)).unwrap_or_else(|e| panic!("{name}: {e}"));
    serde_json::from_str(&text).unwrap_or_else(|e| panic!("{name}: {e}"))
}

#[test]
fn schemas_of_requests_are_those_of_the_type() {
    let name = "decision-request.schema.json";
    let schema = generated::<DecisionRequest>();
    if std::env::var_os("UPDATE_SCHEMAS").is_some() {
        let text = serde_json::to_string_pretty(&schema).unwrap_or_else(|e| panic!("{e}"));
        std::fs::write(docs(name), text + "\n").unwrap_or_else(|e| panic!("{e}"));
    }
    assert_eq!(published(name), schema, "run with UPDATE_SCHEMAS=1");
}

/// The fields of each act and which of them are required.
fn acts(schema: &Value) -> BTreeMap<String, (BTreeSet<String>, BTreeSet<String>)> {
    let list = schema["oneOf"].as_array().map(Vec::as_slice);
    let texts = |list: &Value| -> BTreeSet<String> {
        let list = list.as_array().map(Vec::as_slice).unwrap_or_default();
        list.iter()
            .filter_map(|v| Some(v.as_str()?.to_owned()))
            .collect()
    };
    list.unwrap_or_default()
        .iter()
        .map(|act| {
            let fields = act["properties"].as_object();
            let fields = fields.into_iter().flatten().map(|(name, _)| name.clone());
            let name = act["properties"]["act"]["const"].as_str();
            (
                name.unwrap_or_default().to_owned(),
                (fields.collect(), texts(&act["required"])),
            )
        })
        .collect()
}

#[test]
fn schemas_of_logs_have_the_acts_of_the_type() {
    let log = published("log.schema.json");
    let decision = &log["properties"]["decided"]["items"];
    let published = acts(&decision["properties"]["acts"]["items"]);
    assert!(published.len() > 15, "{published:?}");
    assert_eq!(published, acts(&generated::<Act>()));
    let versions = log["properties"]["version"]["enum"].as_array();
    assert_eq!(
        versions.map(Vec::len),
        usize::try_from(crate::songlog::VERSION).ok()
    );
}
