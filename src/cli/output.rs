//! What is printed and how the program ends.
//!
//! Data go to stdout, all else to stderr; with `--json` one document, also for failures.
//! Exit codes: 0 answered, 1 the input cannot answer, 2 wrong words or files that cannot be
//! read as asked, 3 answered with caveats under `--strict`.

use std::io::{self, IsTerminal, Write};
use std::path::Path;
use std::process::ExitCode;

use clap::error::{ContextKind, ContextValue};
use serde::Serialize;
use serde_json::{Value, json};
use subwell::report::{acts, error_document, failure_text, json_text, json_value};

use super::signs;

/// What a command has to say.
pub(super) struct Answer {
    text: String,
    document: Value,
    caveats: usize,
}

impl Answer {
    /// An answer whose document already says its `format` and `version`.
    pub(super) fn document(text: String, document: &impl Serialize, caveats: usize) -> Self {
        Self { text, document: json_value(document), caveats }
    }

    /// An answer whose document still lacks them.
    pub(super) fn new(text: String, format: &str, content: &impl Serialize, caveats: usize) -> Self {
        let mut document = json!({ "format": format, "version": 1 });
        if let (Some(fields), Value::Object(content)) = (document.as_object_mut(), json_value(content)) {
            fields.extend(content);
        }
        Self { text, document, caveats }
    }
}

/// Why a command has nothing to say.
pub(super) struct Failure {
    code: String,
    message: String,
    hint: String,
    exit: u8,
    /// The file that it is about, where the message does not name it.
    file: Option<String>,
}

impl<E: Into<subwell::Error>> From<E> for Failure {
    fn from(error: E) -> Self {
        let error = error.into();
        Self {
            code: error.code().to_owned(),
            message: error.to_string(),
            hint: error.hint(),
            exit: if error.is_unanswerable() { 1 } else { 2 },
            file: None,
        }
    }
}

impl Failure {
    /// The same, with the file named that it is about, where people read it: the document is that which the page gets.
    pub(super) fn about(self, file: &Path) -> Self {
        Self { file: Some(file.display().to_string()), ..self }
    }

    /// A calendar is asked for, and the plan has no dates.
    pub(super) fn no_nights() -> Self {
        Self {
            code: "no-nights".into(),
            message:
                "the plan has no nights to write: nothing is left to shoot, or the night file lacks a date or a place"
                    .into(),
            hint: "give date under [goal], and latitude_deg and longitude_deg under [site]".into(),
            exit: 1,
            file: None,
        }
    }

    /// A page for a phone is asked for, and what answers in it was never built.
    #[cfg(feature = "page")]
    pub(super) fn no_module() -> Self {
        Self {
            code: "no-module".into(),
            message: "this program was built without the planner for phones".into(),
            hint: "run tools/make_offline_planner.sh, then build the program again; packaged programs have it".into(),
            exit: 1,
            file: None,
        }
    }

    /// What the planner of the page refuses.
    #[cfg(feature = "page")]
    pub(super) fn refused(refusal: subwell::planner::Refusal) -> Self {
        Self { code: refusal.code, message: refusal.message, hint: refusal.hint, exit: 2, file: None }
    }

    /// Words that are each in order and do not make a question together.
    pub(super) fn words(message: &str, hint: &str) -> Self {
        Self { code: "usage".into(), message: message.into(), hint: hint.into(), exit: 2, file: None }
    }

    fn document(&self) -> Value {
        error_document(&self.code, &self.message, &self.hint)
    }
}

/// Prints an answer or a failure and says how the program ends. With `lines` JSON goes out in one line.
pub(super) fn finish(answer: Result<Answer, Failure>, json: bool, lines: bool, strict: bool) -> ExitCode {
    let in_json = |document: &Value| if lines { format!("{document}\n") } else { json_text(document) };
    match answer {
        Ok(answer) => {
            let printed = if json { in_json(&answer.document) } else { answer.text };
            let printed = if json { signs::fit_json(&printed) } else { signs::fit_for_output(&printed) };
            print(&printed, ExitCode::from(if strict && answer.caveats > 0 { 3 } else { 0 }))
        }
        Err(failure) => {
            let exit = ExitCode::from(failure.exit);
            if json {
                return print(&signs::fit_json(&in_json(&failure.document())), exit);
            }
            let message = match &failure.file {
                Some(file) => format!("{file}: {}", failure.message),
                None => failure.message.clone(),
            };
            let (message, hint) = (signs::fit_for_output(&message), signs::fit_for_output(&failure.hint));
            let in_words = if io::stderr().is_terminal() {
                failure_text(&message, &hint)
            } else {
                // What reads a pipe or a file looks for a line of each.
                let hint = if hint.is_empty() { String::new() } else { format!("hint: {hint}\n") };
                format!("error: {message}\n{hint}")
            };
            // Nobody left to tell: the exit code still says it.
            let _ = anstream::stderr().write_all(in_words.as_bytes());
            exit
        }
    }
}

/// Says what the program needs to be told; no answer, so the exit code of wrong words.
pub(super) fn hint(text: &str) -> ExitCode {
    let _ = anstream::stderr().write_all(signs::fit_for_output(text).as_bytes());
    ExitCode::from(2)
}

/// A word beside the answer, for people.
pub(super) fn note(text: &str) {
    let _ = anstream::stderr().write_all(signs::fit_for_output(&format!("note: {text}\n")).as_bytes());
}

/// The advice for an option that is a key of the night file; `None` for any other.
fn key_advice(error: &clap::Error) -> Option<String> {
    let Some(ContextValue::String(word)) = error.get(ContextKind::InvalidArg) else { return None };
    let name = word.strip_prefix("--")?.replace('-', "_");
    let key = subwell::keys::NIGHT.iter().find(|key| key.path.rsplit('.').next() == Some(name.as_str()))?;
    let (table, name) = key.path.rsplit_once('.')?;
    Some(format!("`{name}` is a key of the night file: write it under [{table}] there"))
}

/// Wrong words on the command line, help and version.
pub(super) fn wrong_words(mut error: clap::Error) -> ExitCode {
    let advice = key_advice(&error);
    if let Some(advice) = &advice {
        error.remove(ContextKind::SuggestedCommand);
        error.insert(ContextKind::Suggested, ContextValue::StyledStrs(vec![advice.clone().into()]));
    }
    let json = std::env::args_os().any(|word| word == "--json");
    if !json || !error.use_stderr() {
        // Colours are codes too: where typed words hold such signs, all of them go.
        let typed = std::env::args_os().any(|word| word.to_string_lossy().contains(acts));
        if typed || signs::only_ascii() {
            let text = error.render().to_string();
            let text = signs::fit_for_output(&text);
            let _ = if error.use_stderr() {
                anstream::stderr().write_all(text.as_bytes())
            } else {
                anstream::stdout().write_all(text.as_bytes())
            };
        } else {
            let _ = error.print();
        }
        return ExitCode::from(if error.use_stderr() { 2 } else { 0 });
    }
    let text = error.render().to_string();
    // The first paragraph: what is wrong, and which words it is about.
    let in_words = text.lines().map(str::trim).take_while(|line| !line.is_empty());
    let message = in_words.collect::<Vec<_>>().join(" ").trim_start_matches("error: ").to_owned();
    let lists = || "`subwell --help` lists the commands, `subwell COMMAND --help` their options".to_owned();
    let hint = advice.unwrap_or_else(lists);
    finish(Err(Failure { code: "usage".into(), message, hint, exit: 2, file: None }), true, false, false)
}

/// Writes to stdout; a reader that went away (`| head`) is no failure, a full disk is.
fn print(text: &str, exit: ExitCode) -> ExitCode {
    let mut stdout = anstream::stdout().lock();
    match stdout.write_all(text.as_bytes()).and_then(|()| stdout.flush()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            let _ = writeln!(anstream::stderr().lock(), "error: the answer could not be written: {error}");
            ExitCode::from(2)
        }
        _ => exit,
    }
}
