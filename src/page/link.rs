//! The page's scripts as one: each module in a function of its own, in the order in which they need each other.
//!
//! A page that is a file cannot import: a browser lets a file read no other file. The scripts keep to one way of writing
//! imports and exports, which the tests hold them to.

use std::collections::BTreeSet;
use std::fmt::Write;

/// The one script that does what the modules do from `entry` on. `module` gets the text of a module by its name.
pub(super) fn linked<'a>(entry: &str, module: &dyn Fn(&str) -> Option<&'a str>) -> Result<String, String> {
    let mut script = String::from("\"use strict\";\nconst modules = {};\n");
    add(entry, module, &mut BTreeSet::new(), &mut Vec::new(), &mut script)?;
    Ok(script)
}

fn add<'a>(
    name: &str,
    module: &dyn Fn(&str) -> Option<&'a str>,
    done: &mut BTreeSet<String>,
    open: &mut Vec<String>,
    script: &mut String,
) -> Result<(), String> {
    if done.contains(name) {
        return Ok(());
    }
    if open.iter().any(|other| other == name) {
        return Err(format!("{name} needs itself, by way of {}", open.join(", ")));
    }
    open.push(name.to_owned());
    let text = module(name).ok_or_else(|| format!("there is no module {name}"))?;
    let (mut body, mut exports) = (String::new(), Vec::new());
    for line in text.lines() {
        if let Some(import) = line.strip_prefix("import ") {
            let (what, from) = parts(import).ok_or_else(|| format!("{name}: {line}"))?;
            add(from, module, done, open, script)?;
            let _ = writeln!(body, "const {what} = modules[\"{from}\"];");
        } else if let Some(rest) = line.strip_prefix("export ") {
            exports.push(exported(rest).ok_or_else(|| format!("{name}: {line}"))?);
            let _ = writeln!(body, "{rest}");
        } else {
            let _ = writeln!(body, "{line}");
        }
    }
    let getters: Vec<String> = exports.iter().map(|export| format!("get {export}() {{ return {export}; }}")).collect();
    let _ = writeln!(script, "modules[\"{name}\"] = (() => {{\n{body}return {{ {} }};\n}})();", getters.join(", "));
    open.pop();
    done.insert(name.to_owned());
    Ok(())
}

/// `{ a, b as c } from "./x.js";` as a pattern and the module's name.
fn parts(import: &str) -> Option<(String, &str)> {
    let (what, from) = import.strip_suffix("\";")?.split_once(" from \"./")?;
    let what = what.strip_prefix("* as ").map_or_else(|| what.replace(" as ", ": "), str::to_owned);
    Some((what, from))
}

/// The name that an export declares.
fn exported(declaration: &str) -> Option<&str> {
    let kinds = ["const ", "class ", "function* ", "function ", "async function* ", "async function "];
    let rest = kinds.iter().find_map(|kind| declaration.strip_prefix(kind))?;
    let end = rest.find(|letter: char| !letter.is_alphanumeric() && letter != '_' && letter != '$')?;
    (end > 0).then(|| &rest[..end])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn modules_stand_before_those_that_need_them() {
        let module = |name: &str| match name {
            "main.js" => Some(
                "import { twice, one as first } from \"./sums.js\";\nimport * as all from \"./sums.js\";\nprint(twice(first), all.one);\n",
            ),
            "sums.js" => Some("// Sums.\nexport const one = 1;\nexport function twice(x) {\n  return 2 * x;\n}\n"),
            _ => None,
        };
        let script = linked("main.js", &module).unwrap();
        assert_eq!(
            script,
            "\"use strict\";\nconst modules = {};\nmodules[\"sums.js\"] = (() => {\n// Sums.\nconst one = 1;\nfunction twice(x) {\n  \
             return 2 * x;\n}\nreturn { get one() { return one; }, get twice() { return twice; } };\n})();\n\
             modules[\"main.js\"] = (() => {\nconst { twice, one: first } = modules[\"sums.js\"];\nconst all = \
             modules[\"sums.js\"];\nprint(twice(first), all.one);\nreturn {  };\n})();\n"
        );
    }

    #[test]
    fn circles_and_other_ways_of_writing_are_refused() {
        let circle = |name: &str| match name {
            "a.js" => Some("import { b } from \"./b.js\";\n"),
            _ => Some("import { a } from \"./a.js\";\n"),
        };
        assert!(linked("a.js", &circle).unwrap_err().contains("a.js needs itself"));
        for odd in ["import x from \"./y.js\"\n", "export default 3;\n", "export let x = 1;\n", "export { a };\n"] {
            assert!(linked("a.js", &|_| Some(odd)).is_err(), "{odd}");
        }
        assert!(linked("none.js", &|_| None).is_err());
    }
}
