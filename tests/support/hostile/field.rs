//! A number for each pixel.

/// A number for each pixel, row by row.
#[derive(Debug, Clone)]
pub(super) struct Field {
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) values: Vec<f64>,
}

impl Field {
    pub(super) fn even(width: usize, height: usize, value: f64) -> Self {
        Self { width, height, values: vec![value; width * height] }
    }

    /// Changes each value; `change` is told where it is: column, row.
    pub(super) fn each(&mut self, mut change: impl FnMut(usize, usize, &mut f64)) {
        let width = self.width;
        for (place, value) in self.values.iter_mut().enumerate() {
            change(place % width, place / width, value);
        }
    }

    /// The same with the place as shares of half the frame from its middle, −1 to 1.
    pub(super) fn each_placed(&mut self, mut change: impl FnMut(f64, f64, &mut f64)) {
        let (half_width, half_height) = (self.width as f64 / 2.0, self.height as f64 / 2.0);
        self.each(|column, row, value| {
            change((column as f64 + 0.5) / half_width - 1.0, (row as f64 + 0.5) / half_height - 1.0, value);
        });
    }

    pub(super) fn mean(&self) -> f64 {
        self.values.iter().sum::<f64>() / self.values.len() as f64
    }

    pub(super) fn scale(&mut self, factor: f64) {
        self.values.iter_mut().for_each(|value| *value *= factor);
    }

    /// Each value gives `share` of itself to each of its four neighbours; what would leave the frame stays.
    pub(super) fn shared_with_neighbours(&mut self, share: f64) {
        let before = self.values.clone();
        let (width, height) = (self.width, self.height);
        self.each(|column, row, value| {
            let place = row * width + column;
            let neighbours = [
                (column > 0).then(|| place - 1),
                (column + 1 < width).then(|| place + 1),
                (row > 0).then(|| place - width),
                (row + 1 < height).then(|| place + width),
            ];
            for neighbour in neighbours.into_iter().flatten() {
                *value += share * (before[neighbour] - before[place]);
            }
        });
    }
}
