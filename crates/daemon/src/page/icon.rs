//! The icon in pixels, for those who install the page: drawn from `static/icon.svg` when it is first asked for.

use resvg::tiny_skia::{Color, Pixmap, Transform};
use resvg::usvg::{Options, Tree};

const SVG: &[u8] = include_bytes!("static/icon.svg");
/// Its own ground: red, green, blue.
const GROUND: [u8; 3] = [0x12, 0x3C, 0x3A];
/// How far a picture that is cut to any shape is drawn in: what counts is then within the circle of two
/// fifths of its width that W3C's manifest keeps whole.
const DRAWN_IN: f32 = 0.8;

/// The icon as a PNG, `side` pixels wide and high. One that is cut to any shape fills its square.
///
/// None if it cannot be drawn.
pub fn png(side: u16, cut: bool) -> Option<Vec<u8>> {
    let tree = Tree::from_data(SVG, &Options::default()).ok()?;
    let mut picture = Pixmap::new(side.into(), side.into())?;
    let side = f32::from(side);
    let share = if cut { DRAWN_IN } else { 1.0 };
    if cut {
        let [red, green, blue] = GROUND;
        picture.fill(Color::from_rgba8(red, green, blue, 255));
    }
    let scale = side * share / tree.size().width();
    let inset = side * (1.0 - share) / 2.0;
    let place = Transform::from_scale(scale, scale).post_translate(inset, inset);
    resvg::render(&tree, place, &mut picture.as_mut());
    picture.encode_png().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// W3C, Web Application Manifest, "Icon masks and safe zone": what counts lies within a circle of two
    /// fifths of the width around the middle.
    #[test]
    fn what_is_cut_off_is_ground() {
        let drawn = png(100, true).expect("drawn");
        let picture = Pixmap::decode_png(&drawn).expect("a PNG");
        let ground = picture.pixel(0, 0).expect("within");
        assert_eq!(ground.alpha(), 255, "no hole in it");
        let mut inside = 0;
        for (at, pixel) in picture.pixels().iter().enumerate() {
            let (x, y) = ((at % 100) as f32 - 49.5, (at / 100) as f32 - 49.5);
            if x.hypot(y) > 40.0 {
                assert_eq!(*pixel, ground, "{x} {y}");
            } else {
                inside += usize::from(*pixel != ground);
            }
        }
        assert!(inside > 100, "something is drawn: {inside}");
    }

    #[test]
    fn the_other_has_its_own_shape() {
        let picture = Pixmap::decode_png(&png(192, false).expect("drawn")).expect("a PNG");
        assert_eq!((picture.width(), picture.height()), (192, 192));
        assert_eq!(picture.pixel(0, 0).expect("within").alpha(), 0, "round");
        assert_eq!(picture.pixel(96, 10).expect("within").alpha(), 255);
    }
}
