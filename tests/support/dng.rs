//! Writes the smallest DNG files that a reader has to take: one image, little-endian, uncompressed, 16 bits a pixel.
//!
//! Tag numbers: TIFF 6.0, Exif 2.32 and the DNG specification 1.7, from memory.

/// What goes into a file; the pixels are those of the whole sensor, borders included.
#[derive(Clone)]
pub(crate) struct Dng {
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) pixels: Vec<u16>,
    /// Top, left, bottom, right.
    pub(crate) active: Option<[u32; 4]>,
    /// Colours of the cell at the corner of the active area, 0 red, 1 green, 2 blue; empty for a monochrome sensor.
    pub(crate) cfa: Vec<u8>,
    pub(crate) cell: [u16; 2],
    pub(crate) white: u32,
    pub(crate) exposure: (u32, u32),
    /// The APEX time value.
    pub(crate) apex: Option<(i32, i32)>,
    pub(crate) iso: u16,
    pub(crate) samples: u16,
    pub(crate) air_c: Option<i32>,
    pub(crate) date: String,
    /// Top, left, bottom, right of each area that sees no light.
    pub(crate) masked: Vec<[u32; 4]>,
    /// Pairs of slope and offset.
    pub(crate) noise_profile: Vec<f64>,
    pub(crate) black: u16,
}

pub(super) struct Entry {
    pub(super) tag: u16,
    pub(super) kind: u16,
    pub(super) count: u32,
    pub(super) value: Vec<u8>,
}

pub(super) fn shorts(tag: u16, values: &[u16]) -> Entry {
    Entry { tag, kind: 3, count: values.len() as u32, value: values.iter().flat_map(|v| v.to_le_bytes()).collect() }
}

pub(super) fn longs(tag: u16, values: &[u32]) -> Entry {
    Entry { tag, kind: 4, count: values.len() as u32, value: values.iter().flat_map(|v| v.to_le_bytes()).collect() }
}

fn bytes(tag: u16, values: &[u8]) -> Entry {
    Entry { tag, kind: 1, count: values.len() as u32, value: values.to_vec() }
}

pub(super) fn text(tag: u16, value: &str) -> Entry {
    let value: Vec<u8> = value.bytes().chain([0]).collect();
    Entry { tag, kind: 2, count: value.len() as u32, value }
}

fn doubles(tag: u16, values: &[f64]) -> Entry {
    Entry { tag, kind: 12, count: values.len() as u32, value: values.iter().flat_map(|v| v.to_le_bytes()).collect() }
}

pub(super) fn ratio(tag: u16, (above, below): (u32, u32)) -> Entry {
    Entry { tag, kind: 5, count: 1, value: [above.to_le_bytes(), below.to_le_bytes()].concat() }
}

fn signed_ratio(tag: u16, (above, below): (i32, i32)) -> Entry {
    Entry { tag, kind: 10, count: 1, value: [above.to_le_bytes(), below.to_le_bytes()].concat() }
}

/// The directory and its long values, as they stand at `start`.
pub(super) fn directory(mut entries: Vec<Entry>, start: usize) -> Vec<u8> {
    entries.sort_by_key(|entry| entry.tag);
    let mut head = (entries.len() as u16).to_le_bytes().to_vec();
    let mut tail = Vec::new();
    let after = start + 2 + 12 * entries.len() + 4;
    for entry in &entries {
        head.extend(entry.tag.to_le_bytes());
        head.extend(entry.kind.to_le_bytes());
        head.extend(entry.count.to_le_bytes());
        if entry.value.len() <= 4 {
            head.extend(entry.value.iter().copied().chain([0; 4]).take(4));
        } else {
            head.extend(((after + tail.len()) as u32).to_le_bytes());
            tail.extend(&entry.value);
            tail.resize(tail.len().next_multiple_of(2), 0);
        }
    }
    head.extend([0; 4]);
    head.extend(tail);
    head
}

impl Dng {
    pub(crate) fn new(width: usize, height: usize, pixels: Vec<u16>) -> Self {
        Self {
            width,
            height,
            pixels,
            active: None,
            cfa: vec![0, 1, 1, 2],
            cell: [2, 2],
            white: 16383,
            exposure: (1, 4),
            apex: None,
            iso: 800,
            samples: 1,
            air_c: None,
            date: "2026:01:02 20:00:00".into(),
            masked: Vec::new(),
            noise_profile: Vec::new(),
            black: 0,
        }
    }

    pub(crate) fn bytes(&self) -> Vec<u8> {
        let exif_at = 2000;
        let data_at = 2600;
        let mut exif = vec![ratio(33434, self.exposure), shorts(34855, &[self.iso]), text(36867, &self.date)];
        exif.extend(self.apex.map(|apex| signed_ratio(37377, apex)));
        exif.extend(self.air_c.map(|celsius| signed_ratio(37888, (celsius, 1))));
        let mono = self.cfa.is_empty();
        let photometric = if self.samples > 1 {
            34892
        } else if mono {
            1
        } else {
            32803
        };
        let data: Vec<u8> = self.pixels.iter().flat_map(|count| count.to_le_bytes()).collect();
        let mut root = vec![
            longs(254, &[0]),
            longs(256, &[self.width as u32]),
            longs(257, &[self.height as u32]),
            shorts(258, &vec![16; usize::from(self.samples)]),
            shorts(259, &[1]),
            shorts(262, &[photometric]),
            text(271, "Invented"),
            text(272, "Invented One"),
            longs(273, &[data_at]),
            shorts(274, &[1]),
            shorts(277, &[self.samples]),
            longs(278, &[self.height as u32]),
            longs(279, &[data.len() as u32]),
            shorts(284, &[1]),
            longs(34665, &[exif_at]),
            bytes(50706, &[1, 4, 0, 0]),
            text(50708, "Invented One"),
            shorts(50714, &[self.black]),
            longs(50717, &[self.white]),
        ];
        if !mono {
            root.push(shorts(33421, &self.cell));
            root.push(bytes(33422, &self.cfa));
        }
        root.extend(self.active.map(|area| longs(50829, &area)));
        if !self.masked.is_empty() {
            root.push(longs(50830, &self.masked.concat()));
        }
        if !self.noise_profile.is_empty() {
            root.push(doubles(51041, &self.noise_profile));
        }
        let mut file = b"II*\0".to_vec();
        file.extend(8_u32.to_le_bytes());
        file.extend(directory(root, 8));
        assert!(file.len() <= exif_at as usize);
        file.resize(exif_at as usize, 0);
        file.extend(directory(exif, exif_at as usize));
        assert!(file.len() <= data_at as usize);
        file.resize(data_at as usize, 0);
        file.extend(data);
        file
    }
}
