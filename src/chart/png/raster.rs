//! A page as pixels: outlines filled with ink, each pixel by how much of it they cover.

use crate::chart::draw::{Canvas, DOT_STEP, Point, quarters};
use crate::chart::font::{Fonts, Run};
use crate::chart::layout::{Ink, Pen};
use ab_glyph_rasterizer::{Point as Pixel, Rasterizer, point};
use ttf_parser::OutlineBuilder;

const BLACK: u8 = 0;
const WHITE: u8 = 0xff;

/// A page that is drawn on.
pub(super) struct Raster<'a> {
    /// Its pixels row by row, 0 for black to 255 for white.
    pub(super) gray: Vec<u8>,
    width: usize,
    height: usize,
    /// Pixels in a mm.
    scale: f64,
    fonts: &'a Fonts,
    /// Takes one outline at a time.
    coverage: Rasterizer,
}

impl<'a> Raster<'a> {
    /// A white page, px.
    pub(super) fn new(width: usize, height: usize, scale: f64, fonts: &'a Fonts) -> Self {
        Self {
            gray: vec![WHITE; width * height],
            width,
            height,
            scale,
            fonts,
            coverage: Rasterizer::new(0, 0),
        }
    }

    /// An outline in mm.
    fn outline(&self) -> Outline {
        Outline::new((0.0, 0.0), (self.scale, self.scale))
    }

    /// Fills what lies inside an outline.
    fn fill(&mut self, outline: &Outline, level: u8) {
        if outline.parts.is_empty() {
            return;
        }
        // a pixel of room on each side
        let (left, top) = (outline.low.x.floor() - 1.0, outline.low.y.floor() - 1.0);
        let room = |low: f32, high: f32| (high - low).ceil() as usize + 2;
        let (wide, high) = (room(left, outline.high.x), room(top, outline.high.y));
        self.coverage.reset(wide, high);
        let moved = |p: Pixel| point(p.x - left, p.y - top);
        for part in &outline.parts {
            match *part {
                Part::Line(a, b) => self.coverage.draw_line(moved(a), moved(b)),
                Part::Quad(a, b, c) => self.coverage.draw_quad(moved(a), moved(b), moved(c)),
                Part::Cubic(a, b, c, d) => {
                    self.coverage
                        .draw_cubic(moved(a), moved(b), moved(c), moved(d));
                }
            }
        }
        let (left, top) = (left as isize, top as isize);
        let (gray, width, height) = (&mut self.gray, self.width, self.height);
        self.coverage.for_each_pixel_2d(|x, y, part| {
            let (x, y) = (left + x as isize, top + y as isize);
            let (Ok(x), Ok(y)) = (usize::try_from(x), usize::try_from(y)) else {
                return;
            };
            if part > 0.0 && x < width && y < height {
                let pixel = &mut gray[y * width + x];
                let before = f32::from(*pixel);
                *pixel = (before + (f32::from(level) - before) * part.min(1.0)).round() as u8;
            }
        });
    }

    fn disc(&mut self, center: Point, radius: f64, level: u8) {
        let mut outline = self.outline();
        outline.circle(center, radius);
        self.fill(&outline, level);
    }
}

impl Canvas for Raster<'_> {
    fn run(&mut self, run: &Run, (left, baseline): Point, size: f64, ink: Ink) {
        let em = f64::from(self.fonts.face(run.style).units_per_em());
        let unit = size / em * self.scale;
        let mut left = left;
        for (_, glyph) in &run.glyphs {
            let place = (left * self.scale, baseline * self.scale);
            let mut outline = Outline::new(place, (unit, -unit));
            self.fonts.draw(run.style, *glyph, &mut outline);
            self.fill(&outline, ink.level());
            left += self.fonts.advance(run.style, *glyph) * size;
        }
    }

    fn line(&mut self, from: Point, to: Point, width: f64, pen: Pen) {
        let (dx, dy) = (to.0 - from.0, to.1 - from.1);
        let length = dx.hypot(dy);
        if pen == Pen::Dots {
            let n = (length / (DOT_STEP * width)) as usize;
            for i in 0..=n {
                let part = DOT_STEP * width * i as f64 / length.max(width);
                self.disc((from.0 + dx * part, from.1 + dy * part), width / 2.0, BLACK);
            }
            return;
        }
        if length > 0.0 {
            let (nx, ny) = (-dy / length * width / 2.0, dx / length * width / 2.0);
            let mut outline = self.outline();
            outline.polygon(&[
                (from.0 + nx, from.1 + ny),
                (to.0 + nx, to.1 + ny),
                (to.0 - nx, to.1 - ny),
                (from.0 - nx, from.1 - ny),
            ]);
            self.fill(&outline, BLACK);
        }
        if pen == Pen::Round {
            for end in [from, to] {
                self.disc(end, width / 2.0, BLACK);
            }
        }
    }

    fn circle(&mut self, center: Point, radius: f64, stroke: Option<f64>) {
        let Some(width) = stroke else {
            return self.disc(center, radius, BLACK);
        };
        self.disc(center, radius + width / 2.0, BLACK);
        self.disc(center, radius - width / 2.0, WHITE);
    }
}

/// A piece of an outline, px.
#[derive(Clone, Copy)]
enum Part {
    Line(Pixel, Pixel),
    Quad(Pixel, Pixel, Pixel),
    Cubic(Pixel, Pixel, Pixel, Pixel),
}

/// Closed lines and curves, px, and the box around them.
struct Outline {
    parts: Vec<Part>,
    low: Pixel,
    high: Pixel,
    /// Where its own origin lies, px, and how many pixels its own unit is long.
    origin: Point,
    unit: Point,
    /// Where the line is that is drawn, and where it began.
    here: Pixel,
    began: Pixel,
}

impl Outline {
    fn new(origin: Point, unit: Point) -> Self {
        Self {
            parts: Vec::new(),
            low: point(f32::MAX, f32::MAX),
            high: point(f32::MIN, f32::MIN),
            origin,
            unit,
            here: point(0.0, 0.0),
            began: point(0.0, 0.0),
        }
    }

    /// A point in pixels, which the box includes.
    fn at(&mut self, (x, y): Point) -> Pixel {
        let x = (self.origin.0 + x * self.unit.0) as f32;
        let y = (self.origin.1 + y * self.unit.1) as f32;
        self.low = point(self.low.x.min(x), self.low.y.min(y));
        self.high = point(self.high.x.max(x), self.high.y.max(y));
        point(x, y)
    }

    fn begin(&mut self, at: Point) {
        self.began = self.at(at);
        self.here = self.began;
    }

    fn line(&mut self, to: Point) {
        let to = self.at(to);
        self.parts.push(Part::Line(self.here, to));
        self.here = to;
    }

    fn cubic(&mut self, [a, b, to]: [Point; 3]) {
        let (a, b, to) = (self.at(a), self.at(b), self.at(to));
        self.parts.push(Part::Cubic(self.here, a, b, to));
        self.here = to;
    }

    fn end(&mut self) {
        self.parts.push(Part::Line(self.here, self.began));
        self.here = self.began;
    }

    fn polygon(&mut self, corners: &[Point]) {
        self.begin(corners[0]);
        corners[1..].iter().for_each(|c| self.line(*c));
        self.end();
    }

    fn circle(&mut self, center: Point, radius: f64) {
        self.begin((center.0 + radius, center.1));
        for quarter in quarters(center, radius) {
            self.cubic(quarter);
        }
    }
}

/// From a font's units, y upwards.
impl OutlineBuilder for Outline {
    fn move_to(&mut self, x: f32, y: f32) {
        self.begin((x.into(), y.into()));
    }
    fn line_to(&mut self, x: f32, y: f32) {
        self.line((x.into(), y.into()));
    }
    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        let (bend, to) = (
            self.at((x1.into(), y1.into())),
            self.at((x.into(), y.into())),
        );
        self.parts.push(Part::Quad(self.here, bend, to));
        self.here = to;
    }
    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        self.cubic([(x1, y1), (x2, y2), (x, y)].map(|(x, y)| (x.into(), y.into())));
    }
    fn close(&mut self) {
        self.end();
    }
}
