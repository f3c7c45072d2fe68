//! Texts on a terminal of 100 columns.

/// Columns of the terminal.
pub const WIDTH: usize = 100;

/// A text broken between words; a word that is longer stands alone. Spaces at its beginning stay.
pub fn broken(text: &str, width: usize) -> Vec<String> {
    let lead: String = text.chars().take_while(|c| *c == ' ').collect();
    let mut lines = vec![lead];
    for word in text.split_whitespace() {
        let line = lines.last_mut().expect("there is one from the start");
        let is_bare = line.trim().is_empty();
        if !is_bare && line.chars().count() + 1 + word.chars().count() > width {
            lines.push(word.to_owned());
        } else {
            if !is_bare {
                line.push(' ');
            }
            line.push_str(word);
        }
    }
    lines
}

/// A sentence that begins at a column; its later lines begin there as well.
pub fn hanging(text: &str, column: usize) -> String {
    broken(text, WIDTH - 2 - column).join(&format!("\n{}", " ".repeat(column)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_is_broken_between_words_and_counted_in_letters() {
        assert_eq!(broken("ab cd − ef", 5), ["ab cd", "− ef"]);
        assert_eq!(broken("abcdefgh i", 5), ["abcdefgh", "i"]);
        let hanging = hanging(&"word ".repeat(60), 34);
        assert_eq!(hanging.lines().skip(1).map(|line| line.len()).max(), Some(98));
    }
}
