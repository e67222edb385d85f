//! What differs between two songs as a page knows them, so that an answer to a
//! decision is a few hundred bytes and not the whole song. Pure.

use serde_json::{Map, Value, json};

/// Changes that make `after` of `before`, both objects: of a list the middle
/// part that differs (`field`, `at`, `remove`, `insert`), of anything else the
/// new `value`. A field that is gone has the value null.
pub(super) fn changes(before: &Value, after: &Value) -> Vec<Value> {
    let none = Map::new();
    let (before, after) = (
        before.as_object().unwrap_or(&none),
        after.as_object().unwrap_or(&none),
    );
    let mut all = Vec::new();
    for (field, new) in after {
        match (before.get(field), new) {
            (Some(old), new) if old == new => {}
            (Some(Value::Array(old)), Value::Array(new)) => all.push(splice(field, old, new)),
            _ => all.push(json!({"field": field, "value": new})),
        }
    }
    let gone = before.keys().filter(|field| !after.contains_key(*field));
    all.extend(gone.map(|field| json!({"field": field, "value": null})));
    all
}

fn splice(field: &str, old: &[Value], new: &[Value]) -> Value {
    spliced(field, old, new, Value::clone)
}

/// The change that makes one list of another; only what is new becomes JSON.
pub(super) fn spliced<T: PartialEq>(
    field: &str,
    old: &[T],
    new: &[T],
    to_json: impl Fn(&T) -> Value,
) -> Value {
    let start = old.iter().zip(new).take_while(|(a, b)| a == b).count();
    let shorter = old.len().min(new.len()) - start;
    let end = (old.iter().rev().zip(new.iter().rev()).take(shorter))
        .take_while(|(a, b)| a == b)
        .count();
    json!({
        "field": field,
        "at": start,
        "remove": old.len() - start - end,
        "insert": new[start..new.len() - end].iter().map(to_json).collect::<Vec<_>>(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn applied(before: &Value, changes: &[Value]) -> Value {
        let mut song = before.clone();
        for c in changes {
            let field = c["field"].as_str().expect("a field");
            if let Some(value) = c.get("value") {
                song[field] = value.clone();
                continue;
            }
            let number = |name: &str| c[name].as_u64().expect("a number") as usize;
            let (at, remove) = (number("at"), number("remove"));
            let insert = c["insert"].as_array().expect("a list").clone();
            let list = song[field].as_array_mut().expect("a list");
            list.splice(at..at + remove, insert);
        }
        song
    }

    #[test]
    fn changes_make_the_new_song_of_the_old_one_and_name_only_what_differs() {
        let lists: [&[u32]; 8] = [
            &[],
            &[1],
            &[1, 1],
            &[1, 2, 3],
            &[1, 9, 3],
            &[2, 3],
            &[1, 2],
            &[3, 2, 1, 1],
        ];
        for old in lists {
            for new in lists {
                let before = json!({"title": "a", "chords": old});
                let after = json!({"title": "a", "chords": new});
                let found = changes(&before, &after);
                assert_eq!(applied(&before, &found), after, "{old:?} {new:?}");
                assert_eq!(found.is_empty(), old == new, "{old:?} {new:?}");
            }
        }
        let one = changes(&json!({"chords": [1, 2, 3]}), &json!({"chords": [1, 9, 3]}));
        assert_eq!(
            one,
            [json!({"field": "chords", "at": 1, "remove": 1, "insert": [9]})]
        );
    }
}
