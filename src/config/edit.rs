//! One key of a written file set or taken out; comments and the order of lines stay as they are.

use toml_edit::{Item, TableLike, Value, table};

/// A table on the way to a key.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Step {
    /// Its name.
    pub table: String,
    /// Of an array of tables the one with this `name`; `None`: all of them.
    pub named: Option<String>,
}

impl Step {
    fn is(&self, table: &dyn TableLike) -> bool {
        self.named.is_none() || table.get("name").and_then(Item::as_str) == self.named.as_deref()
    }
}

/// Sets the key in the table that the steps lead to, or with `None` takes it out. A table that is not there is made.
/// False where the steps lead to none.
pub(crate) fn set(tables: &mut dyn TableLike, steps: &[Step], key: &str, value: Option<&Value>) -> bool {
    let Some((step, rest)) = steps.split_first() else {
        match (value, tables.get_mut(key)) {
            (None, _) => drop(tables.remove(key)),
            (Some(value), Some(Item::Value(old))) => {
                // A comment behind it stays.
                let decor = old.decor().clone();
                *old = value.clone();
                *old.decor_mut() = decor;
            }
            (Some(value), _) => drop(tables.insert(key, Item::Value(value.clone()))),
        }
        return true;
    };
    if !tables.contains_key(&step.table) {
        // Nothing is to be taken out.
        if value.is_none() {
            return true;
        }
        tables.insert(&step.table, table());
    }
    let mut found = false;
    match tables.get_mut(&step.table) {
        Some(Item::ArrayOfTables(list)) => {
            list.iter_mut().filter(|t| step.is(*t)).for_each(|t| found |= set(t, rest, key, value));
        }
        Some(Item::Value(Value::Array(list))) => {
            let inline = list.iter_mut().filter_map(Value::as_inline_table_mut);
            inline.filter(|t| step.is(*t)).for_each(|t| found |= set(t, rest, key, value));
        }
        Some(item) => found = item.as_table_like_mut().is_some_and(|t| set(t, rest, key, value)),
        None => {}
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use toml_edit::DocumentMut;

    fn edited(text: &str, steps: &[(&str, Option<&str>)], key: &str, value: Option<&str>) -> Option<String> {
        let mut document: DocumentMut = text.parse().expect("TOML");
        let step = |(table, named): &(&str, Option<&str>)| Step {
            table: (*table).to_owned(),
            named: named.map(str::to_owned),
        };
        let steps: Vec<Step> = steps.iter().map(step).collect();
        set(document.as_table_mut(), &steps, key, value.map(Value::from).as_ref()).then(|| document.to_string())
    }

    #[test]
    fn comments_and_order_stay() {
        let text =
            "# ours\n[alarms]\n# why\non_delay = \"3 s\"  # measured\noff_delay = \"9 s\"\n\n[[tank]]\nname = \"1\"\n";
        let on = edited(text, &[("alarms", None)], "on_delay", Some("7 s"));
        assert_eq!(on.as_deref(), Some(&*text.replace("3 s", "7 s")));
        let gone = edited(text, &[("alarms", None)], "off_delay", None);
        assert_eq!(gone.as_deref(), Some(&*text.replace("off_delay = \"9 s\"\n", "")));
    }

    #[test]
    fn a_table_that_was_left_out_is_made_and_arrays_are_found_by_name() {
        let text = "[[tank]]\nname = \"1\"\nworking = \"2 m\"\n\n[[tank]]\nname = \"2\"\nworking = \"2 m\"\n";
        let made = edited(text, &[("alarms", None)], "on_delay", Some("7 s")).expect("made");
        assert_eq!(made.parse::<toml::Table>().expect("TOML")["alarms"]["on_delay"].as_str(), Some("7 s"));
        let working = |named| {
            let text = edited(text, &[("tank", named)], "working", Some("3 m"))?;
            let tanks = text.parse::<toml::Table>().expect("TOML")["tank"].as_array().expect("tanks").clone();
            Some(tanks.iter().map(|t| t["working"].as_str().expect("text").to_owned()).collect::<Vec<_>>())
        };
        assert_eq!(working(Some("2")).expect("found"), ["2 m", "3 m"]);
        assert_eq!(working(None).expect("found"), ["3 m", "3 m"]);
        assert_eq!(working(Some("3")), None);
        let inline = "tank = [{ name = \"1\", working = \"2 m\" }]\n";
        let inline = edited(inline, &[("tank", Some("1"))], "working", Some("3 m")).expect("found");
        assert!(inline.contains("3 m"), "{inline}");
        assert_eq!(edited("tank = 3\n", &[("tank", None)], "working", Some("3 m")), None);
    }
}
