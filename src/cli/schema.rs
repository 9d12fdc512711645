//! `subwell schema`: a file to type after, or its JSON Schema; the JSON Schemas of what is printed.

use clap::{Args, ValueEnum};
use serde_json::{Value, json};
use subwell::report::json_text;
use subwell::schema::{KeyFile, Output};

use super::output::{Answer, Failure};

#[derive(Args)]
pub(super) struct SchemaArgs {
    /// Which file, or what is printed by which command
    name: Schema,
    /// In which form; left out, an example of a file that is typed, the JSON Schema of what is printed
    #[arg(long = "as", value_name = "FORM")]
    form: Option<Form>,
}

/// What has a schema: files that are typed, then documents that are printed with `--json`.
#[derive(Clone, Copy, ValueEnum)]
enum Schema {
    /// A camera typed from a data sheet
    Camera,
    /// A night
    Night,
    /// A made-up sensor for `subwell simulate`
    Sensor,
    /// Printed by `frames`
    Frames,
    /// Printed by `measure`
    Measure,
    /// Printed by `sky`
    Sky,
    /// Printed by `plan`
    Plan,
    /// Printed by `cooling`
    Cooling,
    /// Printed by `compare`
    Compare,
    /// Printed by `choices`
    Choices,
    /// Printed by `targets`
    Targets,
    /// Printed by `review`
    Review,
    /// Printed by `review` of several nights
    Campaign,
    /// A line that `watch` prints; its last one is that of `review`
    Watch,
    /// Printed by `checklist`
    Checklist,
    /// Printed by `simulate`
    Simulation,
    /// Printed by every command that fails
    Error,
}

/// How a schema is shown.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Form {
    /// A commented file to type after
    Example,
    /// JSON Schema, draft 2020-12: editors complete and check the file by it
    JsonSchema,
    /// Every key with unit, range, default and meaning, as JSON
    Keys,
}

/// A schema by what it is of.
enum Of {
    File(KeyFile, &'static str),
    Output(Output),
}

impl Schema {
    fn of(self) -> Of {
        match self {
            Self::Camera => Of::File(KeyFile::Camera, include_str!("../../sample-calibration/published-camera.toml")),
            Self::Night => Of::File(KeyFile::Night, include_str!("../../sample-calibration/published-night.toml")),
            Self::Sensor => Of::File(KeyFile::Sensor, include_str!("schema/sensor.toml")),
            Self::Frames => Of::Output(Output::Frames),
            Self::Measure => Of::Output(Output::Measure),
            Self::Sky => Of::Output(Output::Sky),
            Self::Plan => Of::Output(Output::Plan),
            Self::Cooling => Of::Output(Output::Cooling),
            Self::Compare => Of::Output(Output::Compare),
            Self::Choices => Of::Output(Output::Choices),
            Self::Targets => Of::Output(Output::Targets),
            Self::Review => Of::Output(Output::Review),
            Self::Campaign => Of::Output(Output::Campaign),
            Self::Watch => Of::Output(Output::Watch),
            Self::Checklist => Of::Output(Output::Checklist),
            Self::Simulation => Of::Output(Output::Simulation),
            Self::Error => Of::Output(Output::Error),
        }
    }

    fn word(self) -> String {
        self.to_possible_value().map(|value| value.get_name().to_owned()).unwrap_or_default()
    }
}

/// Answers `subwell schema`.
pub(super) fn schema(args: &SchemaArgs) -> Result<Answer, Failure> {
    let name = args.name.word();
    let answer = |text: String, key: &str, value: Value| {
        Ok(Answer::new(text, "subwell.schema", &json!({ "name": name, key: value }), 0))
    };
    match (args.name.of(), args.form) {
        (Of::File(_, text), None | Some(Form::Example)) => answer(text.to_owned(), "example", text.into()),
        (Of::File(file, _), Some(Form::JsonSchema)) => {
            answer(json_text(&file.json_schema()), "schema", file.json_schema())
        }
        (Of::File(file, _), Some(Form::Keys)) => answer(json_text(&file.keys()), "keys", file.keys()["keys"].take()),
        (Of::Output(output), None | Some(Form::JsonSchema)) => {
            answer(json_text(&output.json_schema()), "schema", output.json_schema())
        }
        (Of::Output(_), Some(Form::Example | Form::Keys)) => Err(Failure::words(
            &format!("what `{name}` names is printed and not typed: it has a JSON Schema, no example and no keys"),
            &format!("subwell schema {name} --as json-schema"),
        )),
    }
}
