//! The table `sidecar.csv` as people and spreadsheets write it: quotes, semicolons or tabs, decimal commas, comments,
//! marks of the byte order, ends of line of any system.

use csv::{ReaderBuilder, StringRecord, Trim};

use crate::frames::sidecar::Columns;
use crate::frames::{Override, SidecarError};

/// Reads the rows.
pub(super) fn overrides(bytes: &[u8]) -> Result<Vec<Override>, SidecarError> {
    let text = text_of(bytes);
    let (text, told) = without_separator_line(&text);
    let separator = told.unwrap_or_else(|| separator_of(text));
    let mut reader = ReaderBuilder::new()
        .delimiter(separator)
        .comment(Some(b'#'))
        .flexible(true)
        .has_headers(false)
        .trim(Trim::All)
        .from_reader(text.as_bytes());
    // Text in memory, with lines of any length: nothing is left that could fail.
    let mut records =
        reader.records().map_while(Result::ok).filter(|record| record.iter().any(|cell| !cell.is_empty()));
    let Some(head) = records.next() else { return Ok(Vec::new()) };
    let columns = Columns::new(head.iter())?;
    let skipped = usize::from(told.is_some());
    records.map(|record| columns.row(record.iter(), line_of(&record) + skipped)).collect()
}

fn line_of(record: &StringRecord) -> usize {
    record.position().map_or(0, |position| position.line() as usize)
}

/// What the bytes say: UTF-8, UTF-16 behind its mark, else a Western European code page, in which every byte is a letter.
fn text_of(bytes: &[u8]) -> String {
    let wide = |of: fn([u8; 2]) -> u16| {
        let units: Vec<u16> = bytes[2..].chunks_exact(2).map(|pair| of([pair[0], pair[1]])).collect();
        String::from_utf16_lossy(&units)
    };
    match bytes {
        [0xff, 0xfe, ..] => wide(u16::from_le_bytes),
        [0xfe, 0xff, ..] => wide(u16::from_be_bytes),
        _ => {
            let plain = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
            std::str::from_utf8(plain)
                .map_or_else(|_| plain.iter().map(|byte| char::from(*byte)).collect(), str::to_owned)
        }
    }
}

/// Spreadsheets may say `sep=;` in a first line of its own.
fn without_separator_line(text: &str) -> (&str, Option<u8>) {
    let (first, rest) = text.split_once('\n').unwrap_or((text, ""));
    let sign = first.trim().to_lowercase().strip_prefix("sep=").map(str::to_owned);
    match sign.as_deref().map(str::as_bytes) {
        Some([sign @ (b';' | b',' | b'\t' | b'|')]) => (rest, Some(*sign)),
        // The tab itself is trimmed away.
        Some([]) => (rest, Some(b'\t')),
        _ => (text, None),
    }
}

/// The sign that parts the names of the columns, of which none holds one.
fn separator_of(text: &str) -> u8 {
    let head = text.lines().find(|line| !line.trim().is_empty() && !line.starts_with('#')).unwrap_or_default();
    [b';', b'\t'].into_iter().find(|sign| head.contains(char::from(*sign))).unwrap_or(b',')
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frames::FrameKind;
    use crate::units::{Celsius, Seconds};

    fn rows(text: &str) -> Vec<Override> {
        overrides(text.as_bytes()).unwrap_or_else(|error| panic!("{text}: {error}"))
    }

    #[test]
    fn every_way_of_writing_the_same_table_reads_alike() {
        let plain = "file,kind,exposure_s,sensor_c\ndarks/d 1.fits,dark flat,0.5,-9.5\n";
        let expected = rows(plain);
        assert_eq!(expected[0].kind, Some(FrameKind::DarkFlat));
        assert_eq!((expected[0].exposure, expected[0].sensor), (Some(Seconds(0.5)), Some(Celsius(-9.5))));
        for text in [
            "file;kind;exposure_s;sensor_c\r\ndarks\\d 1.fits;dark flat;0,5;-9,5\r\n",
            "\u{feff}file,kind,exposure_s,sensor_c\n\"darks/d 1.fits\",\"dark flat\",\"0,5\",\"-9,5\"\n",
            "sep=;\nfile;kind;exposure_s;sensor_c\ndarks/d 1.fits;dark flat;1/2;-9,5",
            "# mine\n\nfile\tkind\texposure_s\tsensor_c\n# next\ndarks/d 1.fits\tdark flat\t500 ms\t-9.5\n\n",
            "\"File\" , Kind ,EXPOSURE_S,sensor_c\n ./darks/d 1.fits , dark flat , 1/2 s , -9.5 ,,\n",
            "file;kind;exposure_s;sensor_c\ndarks/d 1.fits;dark flat;0.5;-9.5\n;;;\n",
        ] {
            assert_eq!(rows(text), expected, "{text}");
        }
        let wide: Vec<u8> = "\u{feff}".encode_utf16().chain(plain.encode_utf16()).flat_map(u16::to_le_bytes).collect();
        assert_eq!(overrides(&wide).unwrap(), expected);
    }

    #[test]
    fn commas_in_quoted_names_and_letters_of_old_code_pages_are_kept() {
        assert_eq!(rows("file,kind\n\"night 1, first/a.fits\",flat")[0].file, "night 1, first/a.fits");
        assert_eq!(overrides(b"file,kind\n\xe9t\xe9.fits,flat").unwrap()[0].file, "\u{e9}t\u{e9}.fits");
    }

    #[test]
    fn what_is_wrong_is_said_with_its_line() {
        let said = |text: &str| overrides(text.as_bytes()).unwrap_err().to_string();
        assert_eq!(said("# mine\nfile,sensor_c\na,cold"), "line 3: `cold` is no sensor_c");
        assert_eq!(said("sep=;\nfile;sensor_c\na;cold"), "line 3: `cold` is no sensor_c");
        assert_eq!(said("file,sensor_c,kind\nd.fits,-9,5,dark"), "line 2 has 4 values for 3 columns");
        assert!(said("file,sensor\n").contains("did you mean `sensor_c`"));
        assert_eq!(said("kind\nbias"), "there is no column `file`");
        assert_eq!(rows(""), []);
        assert_eq!(rows("\u{feff}\n\n"), []);
    }
}
