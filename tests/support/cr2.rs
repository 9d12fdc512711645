//! Writes the smallest file of one maker's raw layout that the decoder takes: one directory, Exif with the maker's note
//! of levels, and the pixels as lossless JPEG in vertical slices.
//!
//! ITU-T T.81, process 14 (lossless), predictor 1, two components side by side; TIFF 6.0, Exif 2.32; the slices and the
//! note are common practice, from memory. The body's name is taken from the decoder's own list when the test runs.

use std::sync::LazyLock;

use super::dng::{Entry, directory, longs, ratio, shorts, text};

/// Samples have so many bits.
const BITS: u8 = 14;
/// The note's sixth version of the table of levels: black and white stand at these places.
const VERSION: u16 = 6;
const TABLE: usize = 1000;
const BLACK_AT: usize = 0x2cb;
const WHITE_AT: usize = 0x2d0;

/// A body of the maker with that layout: its names, and the borders that see no light (left, top).
pub(crate) struct Body {
    make: String,
    model: String,
    pub(crate) left: usize,
    pub(crate) top: usize,
}

/// A body whose levels the file itself states, the smallest borders first.
pub(crate) static BODY: LazyLock<Body> = LazyLock::new(|| {
    let cameras = rawler::decoders::RawLoader::new();
    // Only this maker's small raws need that.
    let maker = cameras.get_cameras().values().find(|camera| camera.hints.iter().any(|hint| hint == "invert_sraw_wb"));
    let make = &maker.expect("a body with small raws in the decoder's list").make;
    let usable = |camera: &&rawler::decoders::Camera| {
        let even = camera.active_area.is_some_and(|[left, top, right, bottom]| {
            left % 2 == 0 && top % 2 == 0 && left > 20 && top > 20 && right == 0 && bottom == 0
        });
        camera.make == *make
            && camera.mode.is_empty()
            && camera.hints.is_empty()
            && camera.whitelevel.is_none()
            && camera.blacklevel.is_none()
            && camera.cfa.name == "RGGB"
            && even
    };
    let bodies = cameras.get_cameras().values().filter(usable);
    let body = bodies.min_by_key(|camera| (camera.active_area, camera.model.clone())).expect("a body in the list");
    let [left, top, ..] = body.active_area.unwrap_or_default();
    Body { make: body.make.clone(), model: body.model.clone(), left, top }
});

/// What goes into a file; the pixels are those of the whole sensor, borders included.
#[derive(Clone)]
pub(crate) struct MakersRaw {
    pub(crate) width: usize,
    pub(crate) pixels: Vec<u16>,
    pub(crate) black: u16,
    pub(crate) white: u16,
    pub(crate) exposure: (u32, u32),
    pub(crate) iso: u16,
    /// Pixels to the inch.
    pub(crate) resolution: Option<(u32, u32)>,
    pub(crate) date: String,
}

impl MakersRaw {
    pub(crate) fn new(width: usize, pixels: Vec<u16>) -> Self {
        let date = "2026:01:02 20:00:00".into();
        Self { width, pixels, black: 2048, white: 12_277, exposure: (1, 4), iso: 800, resolution: None, date }
    }

    pub(crate) fn bytes(&self) -> Vec<u8> {
        let (exif_at, note_at, data_at) = (400, 800, 4000);
        let mut table = vec![0; TABLE];
        table[0] = VERSION;
        table[BLACK_AT..BLACK_AT + 4].fill(self.black);
        table[WHITE_AT] = self.white;
        let note = directory(vec![shorts(0x4001, &table)], note_at);
        let mut exif = vec![
            ratio(33434, self.exposure),
            shorts(34855, &[self.iso]),
            text(36867, &self.date),
            Entry { tag: 0x927c, kind: 7, count: note.len() as u32, value: Vec::new() },
        ];
        if let Some(resolution) = self.resolution {
            exif.extend([ratio(0xa20e, resolution), ratio(0xa20f, resolution), shorts(0xa210, &[2])]);
        }
        let last = self.width / 2 / 2 * 2;
        let first = self.width - last;
        let data = self.stream([first, last]);
        let root = vec![
            text(271, &BODY.make),
            text(272, &BODY.model),
            shorts(259, &[6]),
            longs(273, &[data_at]),
            longs(279, &[data.len() as u32]),
            longs(34665, &[exif_at]),
            longs(0xc5d8, &[1]),
            shorts(0xc640, &[1, first as u16, last as u16]),
        ];
        let mut file = b"II*\0".to_vec();
        file.extend(8_u32.to_le_bytes());
        for (part, at) in
            [(directory(root, 8), exif_at), (pointing(directory(exif, exif_at as usize), note_at), note_at as u32)]
        {
            file.extend(part);
            assert!(file.len() <= at as usize);
            file.resize(at as usize, 0);
        }
        file.extend(note);
        assert!(file.len() <= data_at as usize);
        file.resize(data_at as usize, 0);
        file.extend(data);
        file
    }

    /// The pixels slice by slice, coded as one picture of two components.
    fn stream(&self, slices: [usize; 2]) -> Vec<u8> {
        let mut samples = Vec::with_capacity(self.pixels.len());
        let mut left = 0;
        for wide in slices {
            for row in self.pixels.chunks(self.width) {
                samples.extend_from_slice(&row[left..left + wide]);
            }
            left += wide;
        }
        let rows = self.pixels.len() / self.width;
        let mut head = vec![0xff, 0xd8];
        for table in [0, 1] {
            // Sixteen codes of five bits: the n-th is category n.
            head.extend([0xff, 0xc4, 0, 2 + 1 + 16 + 16, table, 0, 0, 0, 0, 16]);
            head.extend([0; 11]);
            head.extend(0..16);
        }
        head.extend([0xff, 0xc3, 0, 14, BITS]);
        head.extend((rows as u16).to_be_bytes());
        head.extend((self.width as u16 / 2).to_be_bytes());
        head.extend([2, 1, 0x11, 0, 2, 0x11, 0]);
        head.extend([0xff, 0xda, 0, 10, 2, 1, 0x00, 2, 0x10, 1, 0, 0]);
        head.extend(coded(&samples, self.width));
        head.extend([0xff, 0xd9]);
        head
    }
}

/// The directory with the place of the maker's note in it, whose entry is the last of three kinds of bytes.
fn pointing(mut directory: Vec<u8>, note_at: usize) -> Vec<u8> {
    let entry = directory.windows(4).position(|four| four == [0x7c, 0x92, 7, 0]).expect("the entry of the note");
    directory[entry + 8..entry + 12].copy_from_slice(&(note_at as u32).to_le_bytes());
    directory
}

/// Differences from the sample two before (of the row's first two, from the row above), category and bits.
fn coded(samples: &[u16], width: usize) -> Vec<u8> {
    let (mut bytes, mut held, mut count) = (Vec::with_capacity(samples.len() * 2), 0_u64, 0_u32);
    for (at, sample) in samples.iter().enumerate() {
        let column = at % width;
        let predicted = match (column >= 2, at >= width) {
            (true, _) => samples[at - 2],
            (false, true) => samples[at - width],
            (false, false) => 1 << (BITS - 1),
        };
        let difference = i32::from(*sample) - i32::from(predicted);
        let category = 32 - difference.unsigned_abs().leading_zeros();
        let extra = if difference < 0 { difference + (1 << category) - 1 } else { difference } as u64;
        held = (held << (5 + category)) | (u64::from(category) << category) | extra;
        count += 5 + category;
        while count >= 8 {
            count -= 8;
            push(&mut bytes, (held >> count) as u8);
        }
        held &= (1 << count) - 1;
    }
    if count > 0 {
        let ones = (1_u64 << (8 - count)) - 1;
        push(&mut bytes, ((held << (8 - count)) | ones) as u8);
    }
    bytes
}

/// A byte of ones is followed by one of zeros, so that it is no marker.
fn push(bytes: &mut Vec<u8>, byte: u8) {
    bytes.push(byte);
    if byte == 0xff {
        bytes.push(0);
    }
}
