//! The nearest known name, for a person who mistyped one.

use strsim::damerau_levenshtein;

/// The known word that is probably meant: at most a third of its letters differ, and none of its digits. A name with
/// another number is another thing, not a slip of the keyboard.
pub fn nearest<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    known
        .into_iter()
        .filter(|other| digits(word).eq(digits(other)))
        .map(|other| (damerau_levenshtein(&word.to_lowercase(), &other.to_lowercase()), other))
        .filter(|(distance, other)| *distance <= (other.chars().count() / 3).max(1))
        .min()
        .map(|(_, other)| other)
}

fn digits(word: &str) -> impl Iterator<Item = char> + '_ {
    word.chars().filter(char::is_ascii_digit)
}

/// A help that names the nearest known word, or else the known ones.
pub fn did_you_mean<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> String {
    let mut known: Vec<&str> = known.into_iter().collect();
    match nearest(word, known.iter().copied()) {
        Some(other) => format!("did you mean \"{other}\"?"),
        None if known.is_empty() => "there is none to refer to".into(),
        None if known.len() <= 24 => format!("known: {}", known.join(", ")),
        None => {
            known.sort_by_key(|other| damerau_levenshtein(word, other));
            format!("known: {}, and {} more", known[..24].join(", "), known.len() - 24)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_word_is_named_only_where_it_is_near() {
        let known = ["interval", "unit", "poll"];
        assert_eq!(nearest("intervall", known), Some("interval"));
        assert_eq!(nearest("uint", known), Some("unit"));
        assert_eq!(nearest("speed", known), None);
    }

    #[test]
    fn a_name_with_another_number_is_another_thing() {
        let known = ["led-11", "led-12", "led-1"];
        assert_eq!(nearest("led-99", known), None);
        assert_eq!(nearest("led1", known), Some("led-1"));
        assert_eq!(did_you_mean("led-99", known), "known: led-11, led-12, led-1");
    }
}
