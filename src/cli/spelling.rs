//! The words of the command line as they were meant: some shells leave quotes and patterns to the program.

use std::ffi::OsString;
use std::path::{Path, PathBuf};

/// Options that take no value: a pattern after any other belongs to that one.
const ALONE: [&str; 6] = ["--json", "--strict", "--quiet", "-q", "--force", "--"];

/// The words with stray quotes taken off and patterns such as `*.fits` replaced by the files they mean.
///
/// A word is changed only where there is no file of that very name, and one of the name that is meant.
pub(super) fn as_meant(words: impl IntoIterator<Item = OsString>) -> Vec<OsString> {
    let mut meant: Vec<OsString> = Vec::new();
    for (number, word) in words.into_iter().enumerate() {
        let of_option = meant.last().and_then(|last| last.to_str()).is_some_and(is_option_with_value);
        match word.to_str() {
            Some(text) if number > 1 && !text.starts_with('-') && !Path::new(text).exists() => {
                let mut words = without_stray_quote(text);
                if !of_option {
                    words = words.into_iter().flat_map(|word| matching(&word).unwrap_or(vec![word])).collect();
                }
                meant.extend(words);
            }
            _ => meant.push(word),
        }
    }
    meant
}

fn is_option_with_value(word: &str) -> bool {
    word.starts_with('-') && !word.contains('=') && !ALONE.contains(&word)
}

/// `"C:\frames\" --json` in quotes: the stroke before the second quote makes it a letter, and all that follows part of
/// the word. `C:\frames" --json` is then taken apart again, if there is a folder `C:\frames`.
fn without_stray_quote(text: &str) -> Vec<OsString> {
    let (path, rest) = match text.split_once('"') {
        Some((path, rest)) if rest.is_empty() || rest.starts_with(' ') => (path, rest),
        _ => return vec![text.into()],
    };
    if path.is_empty() || !Path::new(path).exists() {
        return vec![text.into()];
    }
    std::iter::once(path).chain(rest.split_whitespace()).map(OsString::from).collect()
}

/// The files that a pattern in the last part of a path means, in order; `None` where it is no pattern or means none.
fn matching(word: &OsString) -> Option<Vec<OsString>> {
    let path = Path::new(word);
    let pattern = path.file_name()?.to_str().filter(|name| name.contains(['*', '?']))?;
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let pattern: Vec<char> = pattern.to_lowercase().chars().collect();
    let mut found: Vec<PathBuf> = (std::fs::read_dir(folder).ok()?.flatten())
        .filter(|entry| {
            let name: Vec<char> = entry.file_name().to_string_lossy().to_lowercase().chars().collect();
            (name[0] != '.' || pattern[0] == '.') && fits(&pattern, &name)
        })
        .map(|entry| path.with_file_name(entry.file_name()))
        .collect();
    found.sort();
    (!found.is_empty()).then(|| found.into_iter().map(PathBuf::into_os_string).collect())
}

/// Whether a name fits a pattern: `*` stands for any letters, `?` for one.
fn fits(pattern: &[char], name: &[char]) -> bool {
    // The place after the last `*`, and how far the name was when it was met: from there one letter more is tried.
    let (mut p, mut n, mut star) = (0, 0, None);
    while n < name.len() {
        match pattern.get(p) {
            Some('*') => {
                star = Some((p + 1, n));
                p += 1;
            }
            Some(sign) if *sign == '?' || *sign == name[n] => (p, n) = (p + 1, n + 1),
            _ => {
                let Some((after, from)) = star else { return false };
                star = Some((after, from + 1));
                (p, n) = (after, from + 1);
            }
        }
    }
    pattern[p..].iter().all(|sign| *sign == '*')
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(of: &[&str]) -> Vec<OsString> {
        of.iter().map(OsString::from).collect()
    }

    #[test]
    fn patterns_fit_as_people_mean_them() {
        let fits =
            |pattern: &str, name: &str| fits(&pattern.chars().collect::<Vec<_>>(), &name.chars().collect::<Vec<_>>());
        for (pattern, name) in [("*.fits", "a.fits"), ("*", "x"), ("d?rk*_1*", "dark_60s_12.fit"), ("**a", "aba")] {
            assert!(fits(pattern, name), "{pattern} {name}");
        }
        for (pattern, name) in [("*.fits", "a.fit"), ("?", ""), ("a*b", "abc"), ("", "a")] {
            assert!(!fits(pattern, name), "{pattern} {name}");
        }
        // Every star tried at every place would take longer than the night.
        assert!(!fits(&"*a".repeat(30), &"b".repeat(2000)));
    }

    #[test]
    fn a_pattern_becomes_the_files_it_means_and_no_option_s_value() {
        let folder = tempfile::tempdir().unwrap();
        for name in ["b.fits", "A.FITS", "note.txt", ".hidden.fits"] {
            std::fs::write(folder.path().join(name), "").unwrap();
        }
        let pattern = folder.path().join("*.fits").display().to_string();
        let in_folder = |name: &str| folder.path().join(name).into_os_string();
        let plain = |before: &[&str]| {
            let words = words(&[before, &[pattern.as_str()]].concat());
            as_meant(words)[before.len()..].to_vec()
        };
        assert_eq!(plain(&["subwell", "frames"]), [in_folder("A.FITS"), in_folder("b.fits")]);
        assert_eq!(plain(&["subwell", "frames", "--json"]), [in_folder("A.FITS"), in_folder("b.fits")]);
        assert_eq!(plain(&["subwell", "measure", "--out"]), words(&[&pattern]));
    }

    #[test]
    fn a_stray_quote_is_taken_off_where_a_folder_is_meant() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().display().to_string();
        let as_meant = |word: &str| as_meant(words(&["subwell", "measure", word]))[2..].to_vec();
        assert_eq!(as_meant(&format!("{path}\"")), words(&[&path]));
        assert_eq!(as_meant(&format!("{path}\" --out c.toml")), words(&[&path, "--out", "c.toml"]));
        assert_eq!(as_meant("nowhere\""), words(&["nowhere\""]));
        // What is there under that very name is left alone.
        let odd = format!("{path}/odd\"");
        std::fs::write(&odd, "").unwrap();
        assert_eq!(as_meant(&odd), words(&[&odd]));
    }
}
