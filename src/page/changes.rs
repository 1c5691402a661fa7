//! What a frame changes: all that a viewer has to be told who has the frame before it. A region is cut at its tags, and of its
//! pieces those are sent that differ, from where they do. Browsers hand a page that hardly says anything its messages a thousand bytes at a time,
//! each as a task of its own, so that a short message is also soon taken. Pure.

use serde_json::{Map, Value, json};

/// What is new in a frame against the one before it, as the page's script takes it: `after` is the number of that one, a key
/// that is missing has the value it had, and a region is whole where it has other tags; else of each piece that differs, by its
/// place, how much of it stays (in units of UTF-16, as scripts count) and what follows.
#[must_use]
pub fn changes(before: &Value, now: &Value) -> Option<Value> {
    let (before, now) = (before.as_object()?, now.as_object()?);
    let mut new = unlike(before, now, |_, now| now.clone());
    if let (Some(Value::Object(before)), Some(Value::Object(now))) = (before.get("regions"), new.get_mut("regions")) {
        *now = unlike(before, now, region);
    }
    new.insert("after".to_owned(), before.get("number")?.clone());
    Some(new.into())
}

/// Whatever of it is new or another, as `said` writes it.
fn unlike(
    before: &Map<String, Value>,
    now: &Map<String, Value>,
    said: fn(Option<&Value>, &Value) -> Value,
) -> Map<String, Value> {
    let other = now.iter().filter(|(key, value)| before.get(*key) != Some(value));
    other.map(|(key, value)| (key.clone(), said(before.get(key), value))).collect()
}

fn region(before: Option<&Value>, now: &Value) -> Value {
    let pieces = |value: &Value| value.as_str().map(|text| text.split('<').map(str::to_owned).collect::<Vec<_>>());
    match (before.and_then(pieces), pieces(now)) {
        (Some(before), Some(new)) if before.len() == new.len() => {
            let both = before.iter().zip(new).enumerate().filter(|(_, (before, new))| *before != new);
            both.map(|(at, (before, new))| (at.to_string(), piece(before, &new))).collect::<Map<_, _>>().into()
        }
        _ => now.clone(),
    }
}

fn piece(before: &str, new: &str) -> Value {
    let alike = before.chars().zip(new.chars()).take_while(|(before, new)| before == new);
    let (units, bytes) = alike.fold((0, 0), |(units, bytes), (_, c)| (units + c.len_utf16(), bytes + c.len_utf8()));
    json!([units, new[bytes..]])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::page::reader::Reader;
    use crate::page::scenes;
    use crate::page::view::live;
    use crate::picture::Size;

    /// As the page's script does it.
    fn brought(had: &Value, news: &Value) -> Value {
        let mut has = had.clone();
        for (key, value) in news.as_object().expect("a frame") {
            if key != "regions" && key != "after" {
                has[key] = value.clone();
            }
        }
        for (id, region) in news["regions"].as_object().into_iter().flatten() {
            let was = has["regions"][id].as_str().unwrap_or_default().to_owned();
            let mut pieces: Vec<String> = was.split('<').map(str::to_owned).collect();
            has["regions"][id] = match region.as_object() {
                None => region.clone(),
                Some(new) => {
                    for (at, piece) in new {
                        let piece_was = &mut pieces[at.parse::<usize>().expect("a place")];
                        let kept = usize::try_from(piece[0].as_u64().expect("a count")).expect("a short one");
                        let stays: Vec<u16> = piece_was.encode_utf16().take(kept).collect();
                        *piece_was =
                            String::from_utf16(&stays).expect("whole letters") + piece[1].as_str().expect("a text");
                    }
                    pieces.join("<").into()
                }
            };
        }
        has
    }

    #[test]
    fn what_changes_makes_one_frame_the_next() {
        let reader = Reader::here();
        let frames: Vec<Value> = (1..)
            .zip(scenes::all())
            .map(|(number, (_, scene))| {
                let scene = crate::page::feed::Published { number, ..scene };
                serde_json::to_value(live(&scene, &reader, Size::Wide)).expect("JSON")
            })
            .collect();
        for before in &frames {
            for now in &frames {
                let news = changes(before, now).expect("frames");
                assert_eq!(news["after"], before["number"]);
                assert_eq!(&brought(before, &news), now);
            }
        }
    }

    #[test]
    fn nothing_is_said_twice() {
        let before =
            json!({ "number": 7, "title": "Bay 2", "regions": { "a": "<p>1</p>", "b": "<b>x</b>y", "c": "" } });
        let now =
            json!({ "number": 8, "title": "Bay 2", "regions": { "a": "<p>2</p>", "b": "<b>x</b>y", "c": "<i>" } });
        let news = json!({ "after": 7, "number": 8, "regions": { "a": { "1": [2, "2"] }, "c": "<i>" } });
        assert_eq!(changes(&before, &now), Some(news));
        assert_eq!(changes(&json!({}), &now), None);
        assert_eq!(piece("\u{1f6a8}\u{e9}a", "\u{1f6a8}\u{e9}b"), json!([3, "b"]));
        assert_eq!(piece("a", ""), json!([0, ""]));
        assert_eq!(piece("a", "ab"), json!([1, "b"]));
    }
}
