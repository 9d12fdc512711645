//! Where plotters draws: an SVG of classes, so that one style sheet serves every theme.
//!
//! The library's own SVG has whole coordinates and fixed colours. Here it draws in tenths of a unit, which are written as
//! decimals, and what it takes for a colour is the number of a [`Pen`].

use std::convert::Infallible;
use std::fmt::Write;

use plotters::style::RGBColor;
use plotters_backend::text_anchor::{HPos, VPos};
use plotters_backend::{
    BackendColor, BackendCoord, BackendStyle, BackendTextStyle, DrawingBackend, DrawingErrorKind, FontTransform,
};

use crate::report::html::escaped;

/// Coordinates of the library in one unit of the picture.
pub(super) const TENTHS: i32 = 10;
/// Height of all text in units of the picture.
pub(super) const TEXT: i32 = 13;
/// Mean width of a letter over its height, on the wide side.
pub(super) const LETTER: f64 = 0.56;

/// What something is drawn for; the style sheet says how it looks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Pen {
    Grid,
    Axis,
    Text,
    Curve,
    Second,
    Third,
    Used,
    Unused,
    Floor,
    Band,
    Limit,
    Thumb,
    Chosen,
    Bar,
    Dropped,
    Ink,
}

impl Pen {
    const ALL: [(Self, &'static str); 16] = [
        (Self::Grid, "grid"),
        (Self::Axis, "axis"),
        (Self::Text, "text"),
        (Self::Curve, "curve"),
        (Self::Second, "second"),
        (Self::Third, "third"),
        (Self::Used, "used"),
        (Self::Unused, "unused"),
        (Self::Floor, "floor"),
        (Self::Band, "band"),
        (Self::Limit, "limit"),
        (Self::Thumb, "thumb"),
        (Self::Chosen, "chosen"),
        (Self::Bar, "bar"),
        (Self::Dropped, "dropped"),
        (Self::Ink, "ink"),
    ];

    /// The class in the style sheet.
    pub(super) fn class(self) -> &'static str {
        Self::ALL.iter().find(|(pen, _)| *pen == self).map_or("", |(_, class)| class)
    }

    /// The pen as plotters carries it.
    pub(super) fn colour(self) -> RGBColor {
        let index = Self::ALL.iter().position(|(pen, _)| *pen == self).unwrap_or_default();
        RGBColor(index as u8, 0, 0)
    }

    fn class_of(colour: BackendColor) -> &'static str {
        Self::ALL.get(usize::from(colour.rgb.0)).map_or("", |(_, class)| class)
    }
}

/// The elements of a picture, without the `<svg>` about them.
pub(super) struct Canvas<'a> {
    out: &'a mut String,
    size: (u32, u32),
}

impl<'a> Canvas<'a> {
    /// A canvas of so many units.
    pub(super) fn new(out: &'a mut String, width: i32, height: i32) -> Self {
        Self { out, size: ((width * TENTHS) as u32, (height * TENTHS) as u32) }
    }

    fn write(&mut self, colour: BackendColor, element: std::fmt::Arguments<'_>) -> Drawn {
        if colour.alpha > 0.0 {
            // Writing to a text cannot fail.
            let _ = writeln!(self.out, "{element}");
        }
        Ok(())
    }
}

type Drawn = Result<(), DrawingErrorKind<Infallible>>;

fn unit(tenths: i32) -> f64 {
    f64::from(tenths) / f64::from(TENTHS)
}

fn points(path: impl IntoIterator<Item = BackendCoord>) -> String {
    path.into_iter().map(|(x, y)| format!("{},{}", unit(x), unit(y))).collect::<Vec<_>>().join(" ")
}

impl DrawingBackend for Canvas<'_> {
    type ErrorType = Infallible;

    fn get_size(&self) -> (u32, u32) {
        self.size
    }

    fn ensure_prepared(&mut self) -> Drawn {
        Ok(())
    }

    fn present(&mut self) -> Drawn {
        Ok(())
    }

    fn draw_pixel(&mut self, _: BackendCoord, _: BackendColor) -> Drawn {
        Ok(())
    }

    fn draw_line<S: BackendStyle>(&mut self, from: BackendCoord, to: BackendCoord, style: &S) -> Drawn {
        let (x1, y1, x2, y2) = (unit(from.0), unit(from.1), unit(to.0), unit(to.1));
        let class = Pen::class_of(style.color());
        self.write(
            style.color(),
            format_args!("<line class=\"{class}\" x1=\"{x1}\" y1=\"{y1}\" x2=\"{x2}\" y2=\"{y2}\"/>"),
        )
    }

    fn draw_rect<S: BackendStyle>(&mut self, a: BackendCoord, b: BackendCoord, style: &S, _fill: bool) -> Drawn {
        let (x, y) = (unit(a.0.min(b.0)), unit(a.1.min(b.1)));
        let (width, height) = (unit((b.0 - a.0).abs()), unit((b.1 - a.1).abs()));
        let class = Pen::class_of(style.color());
        self.write(
            style.color(),
            format_args!("<rect class=\"{class}\" x=\"{x}\" y=\"{y}\" width=\"{width}\" height=\"{height}\"/>"),
        )
    }

    fn draw_path<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(&mut self, path: I, style: &S) -> Drawn {
        let class = Pen::class_of(style.color());
        self.write(style.color(), format_args!("<polyline class=\"{class}\" points=\"{}\"/>", points(path)))
    }

    fn draw_circle<S: BackendStyle>(&mut self, at: BackendCoord, radius: u32, style: &S, _fill: bool) -> Drawn {
        let class = Pen::class_of(style.color());
        let (x, y, r) = (unit(at.0), unit(at.1), unit(radius as i32));
        self.write(style.color(), format_args!("<circle class=\"{class}\" cx=\"{x}\" cy=\"{y}\" r=\"{r}\"/>"))
    }

    fn fill_polygon<S: BackendStyle, I: IntoIterator<Item = BackendCoord>>(&mut self, path: I, style: &S) -> Drawn {
        let class = Pen::class_of(style.color());
        self.write(style.color(), format_args!("<polygon class=\"{class}\" points=\"{}\"/>", points(path)))
    }

    fn draw_text<S: BackendTextStyle>(&mut self, text: &str, style: &S, at: BackendCoord) -> Drawn {
        let anchor = match style.anchor().h_pos {
            HPos::Left => "start",
            HPos::Center => "middle",
            HPos::Right => "end",
        };
        let down = match style.anchor().v_pos {
            VPos::Top => 0.80,
            VPos::Center => 0.34,
            VPos::Bottom => -0.20,
        };
        let (x, y) = (unit(at.0), unit(at.1));
        let turned = match style.transform() {
            FontTransform::None => String::new(),
            FontTransform::Rotate90 => format!(" transform=\"rotate(90 {x} {y})\""),
            FontTransform::Rotate180 => format!(" transform=\"rotate(180 {x} {y})\""),
            FontTransform::Rotate270 => format!(" transform=\"rotate(270 {x} {y})\""),
        };
        let base = y + down * f64::from(TEXT);
        let text = escaped(text);
        self.write(
            style.color(),
            format_args!("<text x=\"{x}\" y=\"{base:.1}\" text-anchor=\"{anchor}\"{turned}>{text}</text>"),
        )
    }

    fn estimate_text_size<S: BackendTextStyle>(
        &self,
        text: &str,
        _: &S,
    ) -> Result<(u32, u32), DrawingErrorKind<Infallible>> {
        let height = f64::from(TEXT * TENTHS);
        Ok(((text.chars().count() as f64 * LETTER * height) as u32, height as u32))
    }
}
