//! The pictures as pixels: the very SVG text of the file beside them, drawn with fonts of our own, so
//! that a PNG looks the same on every machine.

use resvg::tiny_skia::{Pixmap, Transform};
use resvg::usvg::{Options, Tree};

/// Pixels to a px of the picture: sharp on paper and on dense screens.
const PIXELS_PER_PX: f32 = 2.0;
/// Subsets of DejaVu Sans; their licence stands beside them.
const FONTS: [&[u8]; 2] = [
    include_bytes!("fonts/DejaVuSans.ttf"),
    include_bytes!("fonts/DejaVuSans-Bold.ttf"),
];

/// Why a picture cannot be drawn as pixels.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PngError {
    /// The picture's own text cannot be read.
    #[error("not a picture: {0}")]
    Picture(#[from] resvg::usvg::Error),
    /// Too large, or without a size.
    #[error("a picture of {width} by {height} px cannot be drawn")]
    Size {
        /// Width asked for, px.
        width: f32,
        /// Height asked for, px.
        height: f32,
    },
    /// The pixels cannot be written as PNG.
    #[error("cannot be written as PNG: {0}")]
    Encoding(String),
}

/// Draws pictures as PNG files; reads its fonts once.
#[derive(Debug)]
pub struct PngDrawer {
    options: Options<'static>,
}

impl Default for PngDrawer {
    fn default() -> Self {
        let mut options = Options {
            font_family: "DejaVu Sans".to_owned(),
            ..Options::default()
        };
        for font in FONTS {
            options.fontdb_mut().load_font_data(font.to_vec());
        }
        Self { options }
    }
}

impl PngDrawer {
    /// One picture of [`crate::report::PlotFile::svg`] as PNG bytes.
    ///
    /// # Errors
    /// See [`PngError`].
    pub fn draw(&self, svg: &str) -> Result<Vec<u8>, PngError> {
        let tree = Tree::from_str(svg, &self.options)?;
        let (width, height) = (tree.size().width(), tree.size().height());
        let size = tree.size().to_int_size().scale_by(PIXELS_PER_PX);
        let mut pixels = size
            .and_then(|size| Pixmap::new(size.width(), size.height()))
            .ok_or(PngError::Size { width, height })?;
        let scale = Transform::from_scale(PIXELS_PER_PX, PIXELS_PER_PX);
        resvg::render(&tree, scale, &mut pixels.as_mut());
        pixels
            .encode_png()
            .map_err(|error| PngError::Encoding(error.to_string()))
    }
}
