//! What a scanner or a keyboard layout does to the text that it types, learnt from one scan of the trial tag.
//!
//! The trial holds every character once or more, in a known order. What was typed instead gives, position by position, which
//! character stands for which; what stands before and after is a prefix or suffix that the scanner adds. A layout is named by
//! comparing with the key positions of the common ones (ISO/IEC 9995 alphanumeric section, from memory).

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::command::TRIAL;

/// How typed text differs from what was scanned.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Twist {
    /// What the scanner puts before each code.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub prefix: String,
    /// What it puts behind each code.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub suffix: String,
    /// Characters that are typed wrong ...
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub typed: String,
    /// ... and what each of them stands for.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub meant: String,
}

/// What is wrong with a scanner's settings, in the words of those who can mend it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fault {
    /// Y and Z are exchanged.
    Qwertz,
    /// A and Q, and Z and W, are exchanged.
    Azerty,
    /// Digits come as the signs above them.
    DigitsShifted,
    /// Capitals and small letters are exchanged.
    CapsLock,
    /// All letters come small.
    OneCase,
    /// Some other letters or digits are exchanged.
    OtherLayout,
    /// Only the hyphen comes as another sign.
    Hyphen,
    /// Something stands before each code.
    Prefix,
    /// Something stands behind each code.
    Suffix,
    /// Two scans came in one line.
    NoEnter,
}

impl Fault {
    /// What it is, and how to mend it.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Qwertz => {
                "Y and Z are exchanged: scanner and computer disagree about a German (QWERTZ) keyboard. Set the \
                 scanner's keyboard country to that of the computer"
            }
            Self::Azerty => {
                "A and Q, Z and W are exchanged: scanner and computer disagree about a French (AZERTY) keyboard. Set \
                 the scanner's keyboard country to that of the computer"
            }
            Self::DigitsShifted => {
                "digits come as the signs above or below them: set the scanner's keyboard country, or switch Shift \
                 Lock off"
            }
            Self::CapsLock => "capitals and small letters are exchanged: Caps Lock is on. Switch it off",
            Self::OneCase => {
                "all letters come small: the scanner is set to convert them; that does no harm here"
            }
            Self::OtherLayout => {
                "some characters come as others: set the scanner's keyboard country to that of the computer"
            }
            Self::Hyphen => "the hyphen comes as another sign: set the scanner's keyboard country",
            Self::Prefix => "the scanner puts something before each code: switch its prefix off",
            Self::Suffix => {
                "the scanner puts something behind each code: switch its suffix off, and leave Enter"
            }
            Self::NoEnter => {
                "two scans came in one line: the scanner sends no Enter. Set its suffix to Enter (carriage return)"
            }
        }
    }
}

impl Twist {
    /// Reads a line as the trial, however twisted. `None` when it is none.
    pub fn of(line: &str) -> Option<Self> {
        let line: Vec<char> = line.chars().collect();
        let trial: Vec<char> = TRIAL.chars().collect();
        let last = line.len().checked_sub(trial.len())?;
        (0..=last.min(64)).find_map(|start| {
            let window = line.get(start..start + trial.len())?;
            let pairs = pairs(&trial, window)?;
            let text = |part: &[char]| part.iter().collect::<String>();
            let wrong = pairs.iter().filter(|(typed, meant)| typed != meant);
            Some(Self {
                prefix: text(line.get(..start)?),
                suffix: text(line.get(start + trial.len()..)?),
                typed: wrong.clone().map(|(typed, _)| *typed).collect(),
                meant: wrong.map(|(_, meant)| *meant).collect(),
            })
        })
    }

    /// True when text comes as it is.
    pub fn is_straight(&self) -> bool {
        *self == Self::default()
    }

    /// True when undoing it gives every code back. Two scans in one line cannot be told apart in general.
    pub fn can_be_undone(&self) -> bool {
        !self.faults().contains(&Fault::NoEnter)
    }

    /// What was scanned, from what was typed.
    pub fn undo(&self, line: &str) -> String {
        let line = line.strip_prefix(self.prefix.as_str()).unwrap_or(line);
        let line = line.strip_suffix(self.suffix.as_str()).unwrap_or(line);
        let meant: BTreeMap<char, char> = self.typed.chars().zip(self.meant.chars()).collect();
        line.chars().map(|c| meant.get(&c).copied().unwrap_or(c)).collect()
    }

    /// What is wrong, for people.
    pub fn faults(&self) -> Vec<Fault> {
        let came: BTreeMap<char, char> = self.meant.chars().zip(self.typed.chars()).collect();
        let upper = |c: char| came.get(&c).copied().unwrap_or(c).to_ascii_uppercase();
        let exchanged = |a: char, b: char| upper(a) == b && upper(b) == a;
        let mut faults = Vec::new();
        if Self::of(&self.suffix).is_some() || Self::of(&self.prefix).is_some() {
            faults.push(Fault::NoEnter);
        } else {
            if !self.prefix.is_empty() {
                faults.push(Fault::Prefix);
            }
            if !self.suffix.is_empty() {
                faults.push(Fault::Suffix);
            }
        }
        let layout = if exchanged('Y', 'Z') {
            Some(Fault::Qwertz)
        } else if exchanged('A', 'Q') && exchanged('Z', 'W') {
            Some(Fault::Azerty)
        } else if ('A'..='Z').any(|c| upper(c) != c) {
            Some(Fault::OtherLayout)
        } else {
            None
        };
        faults.extend(layout);
        if ('0'..='9').any(|c| came.contains_key(&c)) {
            faults.push(Fault::DigitsShifted);
        } else if layout.is_none() && came.contains_key(&'-') {
            faults.push(Fault::Hyphen);
        }
        let small = |c: char| came.get(&c).is_some_and(char::is_ascii_lowercase);
        let large = |c: char| came.get(&c).is_some_and(char::is_ascii_uppercase);
        match (small('B'), large('b')) {
            (true, true) => faults.push(Fault::CapsLock),
            (true, false) | (false, true) => faults.push(Fault::OneCase),
            (false, false) => {}
        }
        faults
    }
}

/// Typed characters with what they stand for, when each always stands for the same one and no two capitals, digits or
/// hyphens fall together.
fn pairs(trial: &[char], window: &[char]) -> Option<Vec<(char, char)>> {
    let mut meant: BTreeMap<char, char> = BTreeMap::new();
    let mut came: BTreeMap<char, char> = BTreeMap::new();
    for (&should, &typed) in trial.iter().zip(window) {
        if *came.entry(should).or_insert(typed) != typed {
            return None;
        }
        // Where a scanner types all letters in one case, the capital (which comes first in the trial) is what counts.
        let known = *meant.entry(typed).or_insert(should);
        if !known.eq_ignore_ascii_case(&should) {
            return None;
        }
    }
    Some(meant.into_iter().collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What comes out when a scanner that types US key positions stands at a computer with another layout. Key positions of
    /// the German T1 and the French layout, from memory.
    fn through(map: &[(&str, &str)]) -> String {
        let mut text = TRIAL.to_owned();
        let pairs: Vec<(char, char)> =
            map.iter().flat_map(|(from, to)| from.chars().zip(to.chars())).collect();
        text = text
            .chars()
            .map(|c| pairs.iter().find(|(from, _)| *from == c).map_or(c, |(_, to)| *to))
            .collect();
        text
    }

    fn swapped_case(text: &str) -> String {
        let swap =
            |c: char| if c.is_ascii_uppercase() { c.to_ascii_lowercase() } else { c.to_ascii_uppercase() };
        text.chars().map(swap).collect()
    }

    const GERMAN: [(&str, &str); 2] = [("YZyz", "ZYzy"), ("-", "ß")];
    const FRENCH: [(&str, &str); 3] =
        [("AQaqZWzwMm", "QAqaWZwz?,"), ("0123456789", "à&é\"'(-è_ç"), ("-", ")")];
    const SHIFTED: [(&str, &str); 1] = [("0123456789", ")!@#$%^&*(")];

    #[test]
    fn each_twist_is_named_and_undone() {
        let cases = [
            (TRIAL.to_owned(), vec![]),
            (through(&GERMAN), vec![Fault::Qwertz]),
            (through(&FRENCH), vec![Fault::Azerty, Fault::DigitsShifted]),
            (through(&SHIFTED), vec![Fault::DigitsShifted]),
            (through(&[("-", "'")]), vec![Fault::Hyphen]),
            (swapped_case(TRIAL), vec![Fault::CapsLock]),
            (swapped_case(&through(&GERMAN)), vec![Fault::Qwertz, Fault::CapsLock]),
            // Capitals alone do no harm: tags have no small letters.
            (TRIAL.to_uppercase(), vec![]),
            (TRIAL.to_lowercase(), vec![Fault::OneCase]),
            (format!("]C1{TRIAL}"), vec![Fault::Prefix]),
            (format!("{TRIAL}\t"), vec![Fault::Suffix]),
            (format!("x{}#", through(&GERMAN)), vec![Fault::Prefix, Fault::Suffix, Fault::Qwertz]),
            (format!("{TRIAL}{TRIAL}"), vec![Fault::NoEnter]),
        ];
        for (line, faults) in cases {
            let twist = Twist::of(&line).unwrap_or_else(|| panic!("{line}"));
            assert_eq!(twist.faults(), faults, "{line}");
            if twist.can_be_undone() {
                assert!(twist.undo(&line).eq_ignore_ascii_case(TRIAL), "{line}: {}", twist.undo(&line));
            }
            assert_eq!(twist.is_straight(), faults.is_empty());
        }
    }

    #[test]
    fn other_text_is_no_trial() {
        for line in [
            "",
            "P7K3-Q9M2-DXWT-8",
            &"A".repeat(70),
            &"TRIAL".repeat(20),
            TRIAL.get(1..).unwrap(),
            "0123456789",
        ] {
            assert_eq!(Twist::of(line), None, "{line}");
        }
    }
}
