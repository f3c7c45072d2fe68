//! Topic patterns with named levels: `site/{press}/{station}/power`.

use crate::sources::Refusal;

/// A topic pattern; a name in braces stands for one whole level.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Pattern {
    levels: Vec<Level>,
}

#[derive(Clone, Debug, PartialEq, Eq)]
enum Level {
    Fixed(String),
    Named(String),
}

impl Pattern {
    /// Reads a pattern.
    ///
    /// # Errors
    /// Where a name does not fill its level, occurs twice or is empty, or a level holds a wildcard of MQTT.
    pub fn parse(text: &str) -> Result<Self, Refusal> {
        let refuse = |found: &str, expected: &str| Err(Refusal::new("pattern", found, expected));
        if text.is_empty() || text.len() > 65_535 || text.contains('\0') {
            return refuse(text, "a topic of 1 to 65535 bytes");
        }
        let mut levels = Vec::new();
        for part in text.split('/') {
            let level = match part.strip_prefix('{').and_then(|rest| rest.strip_suffix('}')) {
                Some(name) => Level::Named(name.to_owned()),
                None => Level::Fixed(part.to_owned()),
            };
            match &level {
                Level::Named(name) if name.is_empty() || name.contains(['{', '}', '+', '#']) => {
                    return refuse(part, "a name in braces, such as {press}");
                }
                Level::Named(_) if levels.contains(&level) => return refuse(part, "each name once"),
                Level::Fixed(fixed) if fixed.contains(['{', '}']) => {
                    return refuse(part, "a name in braces that fills its level");
                }
                Level::Fixed(fixed) if fixed.contains(['+', '#']) => {
                    return refuse(part, "a name in braces where a level varies, instead of + or #");
                }
                _ => levels.push(level),
            }
        }
        Ok(Self { levels })
    }

    /// The pattern with any word in one place, counted from 0.
    pub fn with_any(mut self, place: usize) -> Self {
        if let Some(level @ Level::Fixed(_)) = self.levels.get_mut(place) {
            *level = Level::Named(String::new());
        }
        self
    }

    /// The MQTT topic filter that receives what the pattern matches: `site/+/+/power`.
    pub fn filter(&self) -> String {
        let words: Vec<&str> = self.levels.iter().map(|l| if let Level::Fixed(f) = l { f } else { "+" }).collect();
        words.join("/")
    }

    /// Whether the pattern has a level of that name.
    pub fn has(&self, name: &str) -> bool {
        self.levels.iter().any(|level| matches!(level, Level::Named(n) if n == name))
    }

    /// The named levels of a topic; `None` where the topic does not match. A wildcard does not stand for a first
    /// level that begins with `$` (MQTT 3.1.1, 4.7.2).
    pub fn matches<'p, 't>(&'p self, topic: &'t str) -> Option<Levels<'p, 't>> {
        let mut named = Vec::new();
        let mut parts = topic.split('/');
        for (place, level) in self.levels.iter().enumerate() {
            let part = parts.next()?;
            match level {
                Level::Fixed(fixed) if fixed == part => {}
                Level::Named(name) if place > 0 || !part.starts_with('$') => named.push((name.as_str(), part)),
                _ => return None,
            }
        }
        parts.next().is_none().then_some(Levels(named))
    }
}

/// What the named levels of a topic say.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Levels<'p, 't>(Vec<(&'p str, &'t str)>);

impl<'t> Levels<'_, 't> {
    /// The level of that name.
    pub fn get(&self, name: &str) -> Option<&'t str> {
        self.0.iter().find(|(n, _)| *n == name).map(|(_, level)| *level)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn pattern(text: &str) -> Pattern {
        Pattern::parse(text).expect("a pattern")
    }

    #[test]
    fn a_name_stands_for_one_whole_level() {
        let power = pattern("site/{press}/{station}/power");
        assert_eq!(power.filter(), "site/+/+/power");
        let levels = power.matches("site/p1/s3/power").expect("a match");
        assert_eq!((levels.get("press"), levels.get("station"), levels.get("x")), (Some("p1"), Some("s3"), None));
        for other in ["site/p1/power", "site/p1/s3/power/x", "site/p1/s3/speed", "Site/p1/s3/power", ""] {
            assert_eq!(power.matches(other), None, "{other}");
        }
    }

    /// MQTT 3.1.1, 4.7.1.3 and 4.7.2, non-normative examples: `+` matches an empty level, `+/+` matches `/finance`, and
    /// `+/monitor/Clients` does not match `$SYS/monitor/Clients`.
    #[test]
    fn a_name_matches_as_the_wildcard_of_one_level_does() {
        assert!(pattern("sport/{x}").matches("sport/").is_some());
        assert!(pattern("sport/{x}").matches("sport").is_none());
        assert!(pattern("{a}/{b}").matches("/finance").is_some());
        assert!(pattern("{a}").matches("/finance").is_none());
        assert!(pattern("{x}/monitor/Clients").matches("$SYS/monitor/Clients").is_none());
        assert!(pattern("$SYS/monitor/{x}").matches("$SYS/monitor/Clients").is_some());
    }

    #[test]
    fn a_bad_pattern_says_what_is_wrong() {
        let told = |text: &str| Pattern::parse(text).expect_err("bad").to_string();
        assert_eq!(told("a/p{x}/b"), r#"pattern: found "p{x}", expected a name in braces that fills its level"#);
        assert_eq!(told("a/{}/b"), r#"pattern: found "{}", expected a name in braces, such as {press}"#);
        assert_eq!(told("{a}/{a}"), r#"pattern: found "{a}", expected each name once"#);
        assert_eq!(
            told("a/#"),
            r##"pattern: found "#", expected a name in braces where a level varies, instead of + or #"##
        );
        assert_eq!(told(""), r#"pattern: found "", expected a topic of 1 to 65535 bytes"#);
    }

    proptest! {
        #[test]
        fn no_topic_makes_it_panic(text in "\\PC{0,30}", topic in "\\PC{0,30}") {
            if let Ok(pattern) = Pattern::parse(&text) {
                let _ = pattern.matches(&topic);
            }
        }
    }
}
