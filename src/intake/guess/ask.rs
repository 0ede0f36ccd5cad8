//! The open questions of a starter job: what each mark asks for, with the evidence, and the answers put in its place.

use std::io::{self, BufRead, Write};

use super::columns::Ask;
use crate::job::UNDECIDED;

/// A question that a line of the job leaves open.
#[derive(Debug, Clone, PartialEq)]
pub struct Question {
    /// Index of the line.
    pub line: usize,
    /// What is asked.
    pub what: String,
    /// What the logs show.
    pub evidence: String,
    /// Answers to choose from, each with what it means; empty where it is free.
    pub choices: Vec<(&'static str, &'static str)>,
    /// Whether the answer is a number, so that its quotes go.
    pub is_number: bool,
}

/// A job with its open questions, in the order of its marks.
#[derive(Debug, Default)]
pub struct Draft {
    /// Its lines.
    pub lines: Vec<String>,
    /// What is open.
    pub questions: Vec<Question>,
}

impl Draft {
    /// Adds a line.
    pub fn push(&mut self, line: impl Into<String>) {
        self.lines.push(line.into());
    }

    /// Adds a question on the line that was added last.
    pub fn ask(
        &mut self,
        what: impl Into<String>,
        evidence: impl Into<String>,
        choices: &[(&'static str, &'static str)],
        is_number: bool,
    ) {
        let line = self.lines.len().saturating_sub(1);
        let question = Question { line, what: what.into(), evidence: evidence.into(), choices: choices.to_vec(), is_number };
        self.questions.push(question);
    }

    /// The job's text.
    pub fn text(&self) -> String {
        self.lines.iter().map(|line| format!("{line}\n")).collect()
    }

    /// Asks one question after the other; what is left blank stays open.
    ///
    /// # Errors
    /// When the input or the output fails.
    pub fn ask_all(mut self, input: &mut dyn BufRead, output: &mut dyn Write) -> io::Result<String> {
        let questions = std::mem::take(&mut self.questions);
        let count = questions.len();
        for (n, question) in questions.iter().enumerate() {
            writeln!(output, "\n{} of {count}: {}", n + 1, question.what)?;
            if !question.evidence.is_empty() {
                writeln!(output, "  {}", question.evidence)?;
            }
            for (i, (answer, meaning)) in question.choices.iter().enumerate() {
                writeln!(output, "  {}  {answer:<12} {meaning}", i + 1)?;
            }
            let answer = loop {
                write!(output, "answer (blank leaves it open): ")?;
                output.flush()?;
                let mut said = String::new();
                if input.read_line(&mut said)? == 0 {
                    // The input has ended: all that is left stays open.
                    return Ok(self.text());
                }
                match question.read(said.trim()) {
                    Ok(answer) => break answer,
                    Err(problem) => writeln!(output, "  {problem}")?,
                }
            };
            match answer {
                Some(answer) => self.settle(question, &answer),
                // What stays open keeps its mark, out of the way of the next on its line.
                None => self.lines[question.line] = self.lines[question.line].replacen(UNDECIDED, OPEN, 1),
            }
        }
        self.lines.iter_mut().for_each(|line| *line = line.replace(OPEN, UNDECIDED));
        Ok(self.text())
    }

    fn settle(&mut self, question: &Question, answer: &str) {
        let line = &mut self.lines[question.line];
        let quoted = format!("\"{UNDECIDED}\"");
        let (body, comment) = line.split_once("  #").unwrap_or((line, ""));
        let body = match question.is_number {
            true => body.replacen(&quoted, answer, 1),
            false => body.replacen(UNDECIDED, &answer.replace('\\', "\\\\").replace('"', "\\\""), 1),
        };
        // What the comment asked for is answered.
        let comment = if body.contains(UNDECIDED) { comment } else { comment.split(';').next().unwrap_or_default() };
        *line = if comment.is_empty() { body } else { format!("{body}  #{comment}") };
    }
}

/// A mark that was passed over, while the questions are asked.
const OPEN: &str = "\u{1}";

/// What was typed and answers nothing.
#[derive(Debug, thiserror::Error)]
enum NoAnswer {
    /// A number is asked for.
    #[error("\"{0}\" is no number")]
    NoNumber(String),
    /// One of some words is asked for.
    #[error("\"{said}\" is none of {}; type one of them, or its number", known.join(", "))]
    NoneOf {
        /// What was typed.
        said: String,
        /// The words.
        known: Vec<&'static str>,
    },
}

impl Question {
    /// What was typed as an answer: none where it is blank.
    fn read(&self, said: &str) -> Result<Option<String>, NoAnswer> {
        if said.is_empty() {
            return Ok(None);
        }
        if let Some((answer, _)) = said.parse::<usize>().ok().and_then(|n| self.choices.get(n.wrapping_sub(1)))
            && !(self.is_number && said.contains('.'))
        {
            return Ok(Some((*answer).to_owned()));
        }
        if self.is_number {
            let number = said.replace(',', ".");
            return match number.parse::<f64>() {
                Ok(value) if value.is_finite() => Ok(Some(number)),
                _ => Err(NoAnswer::NoNumber(said.to_owned())),
            };
        }
        if self.choices.is_empty() || self.choices.iter().any(|(answer, _)| answer.eq_ignore_ascii_case(said)) {
            return Ok(Some(if self.choices.is_empty() { said.to_owned() } else { said.to_lowercase() }));
        }
        let known = self.choices.iter().map(|(answer, _)| *answer).collect();
        Err(NoAnswer::NoneOf { said: said.to_owned(), known })
    }
}

impl Ask {
    /// What is asked of a column, and the answers.
    pub fn question(self, header: &str) -> (String, &'static [(&'static str, &'static str)]) {
        const NORTHS: &[(&str, &str)] = &[
            ("magnetic", "a compass needle or electronic compass, with no declination set in it"),
            ("true", "geographic north: the declination was set in the compass, or it was oriented by the sun or by GNSS"),
            ("grid", "the north of the map grid: a circle oriented by coordinates"),
        ];
        const ANGLES: &[(&str, &str)] =
            &[("deg", "degrees, 360 to a turn"), ("gon", "gon, 400 to a turn"), ("mil", "mils, 6400 to a turn")];
        const SLOPES: &[(&str, &str)] = &[
            ("deg", "degrees, 90 upright"),
            ("pct", "percent: 100 is 45 degrees"),
            ("gon", "gon, 100 upright"),
            ("mil", "mils, 1600 upright"),
        ];
        const LENGTHS: &[(&str, &str)] =
            &[("m", "metres"), ("ft", "feet of 0.3048 m"), ("usft", "US survey feet"), ("yd", "yards")];
        match self {
            Ask::North => (format!("From which north is \"{header}\" counted?"), NORTHS),
            Ask::AngleUnit => (format!("In which unit is \"{header}\"?"), ANGLES),
            Ask::SlopeUnit => (format!("In which unit is \"{header}\"?"), SLOPES),
            Ask::ZenithOrInclination => (
                format!("Where is \"{header}\" zero?"),
                &[("zenith", "straight up, 90 is level"), ("inclination", "level, 90 is straight up")],
            ),
            Ask::Axis => (format!("Which way does \"{header}\" count?"), &[("east", "to the east"), ("north", "to the north")]),
            Ask::DistanceKind => (
                format!("Which distance is \"{header}\"?"),
                &[
                    ("slope", "along the sight, as the instrument measures it"),
                    ("horizontal", "levelled: the instrument reduced it, or a tape was held level"),
                ],
            ),
            Ask::LengthUnit => (format!("In which unit is \"{header}\"?"), LENGTHS),
            Ask::HeightKind => (
                format!("Above what is \"{header}\"?"),
                &[
                    ("ellipsoid", "the ellipsoid: what a receiver computes (GNSS height, HAE)"),
                    ("orthometric", "mean sea level: what most phones and handhelds show, and maps have"),
                ],
            ),
            Ask::BaseColumn => ("Which column names the base that a shot was taken from?".to_owned(), &[]),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn draft() -> Draft {
        let mut draft = Draft::default();
        draft.push(
            "\"??_azimuth_??\" = \"AZ\"  # an azimuth by its header; from which north? put magnetic, true or grid in place of ??",
        );
        let (what, choices) = Ask::North.question("AZ");
        draft.ask(what, "values 12, 340", choices, false);
        let (what, choices) = Ask::AngleUnit.question("AZ");
        draft.ask(what, "", choices, false);
        draft.push("instrument_height_m = \"??\"   # of the axis");
        draft.ask("How high?", "", &[], true);
        draft
    }

    fn answered(typed: &str) -> (String, String) {
        let mut said = Vec::new();
        let job = draft().ask_all(&mut typed.as_bytes(), &mut said).unwrap();
        (job, String::from_utf8(said).unwrap())
    }

    #[test]
    fn answers_go_where_their_marks_stand() {
        let (job, said) = answered("1\ndeg\n1,6\n");
        assert_eq!(
            job,
            "\"magnetic_azimuth_deg\" = \"AZ\"  # an azimuth by its header\ninstrument_height_m = 1.6   # of the axis\n"
        );
        assert!(said.contains("1 of 3: From which north is \"AZ\" counted?\n  values 12, 340\n  1  magnetic"), "{said}");
    }

    #[test]
    fn what_is_left_blank_stays_open() {
        let (job, _) = answered("\ngon\n\n");
        assert!(job.starts_with("\"??_azimuth_gon\" = \"AZ\""), "{job}");
        assert!(job.contains("instrument_height_m = \"??\""), "{job}");
        let (job, _) = answered("");
        assert_eq!(job.matches("??").count(), draft().text().matches("??").count());
    }

    #[test]
    fn what_is_no_answer_is_asked_again() {
        let (job, said) = answered("north\ntrue\ndeg\nhigh\n2\n");
        assert!(job.starts_with("\"true_azimuth_deg\""), "{job}");
        assert!(job.contains("instrument_height_m = 2 "), "{job}");
        assert!(said.contains("\"north\" is none of magnetic, true, grid; type one of them, or its number"), "{said}");
        assert!(said.contains("\"high\" is no number"), "{said}");
    }
}
