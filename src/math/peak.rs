//! Where a sampled curve is largest.

/// Vertex of the parabola through three neighbours.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VertexFit {
    /// Position from the middle sample, in samples, -0.5 to 0.5 for a true local maximum.
    pub offset: f64,
    /// Height of the vertex, in the curve's unit.
    pub height: f64,
    /// Second difference (negative at a maximum), curve's unit per sample squared.
    pub curvature: f64,
}

/// Parabola through `before`, `at`, `after`, evenly spaced. `None` where they lie on a line.
/// Source: Lagrange interpolation; exact for a parabola.
///
/// ```
/// let curve = |x: f64| 5.0 - (x - 0.3).powi(2);
/// let fit = overarm::math::parabola_vertex(curve(-1.0), curve(0.0), curve(1.0)).unwrap();
/// assert!((fit.offset - 0.3).abs() < 1e-12 && (fit.height - 5.0).abs() < 1e-12);
/// ```
pub fn parabola_vertex(before: f64, at: f64, after: f64) -> Option<VertexFit> {
    let curvature = before - 2.0 * at + after;
    let slope = 0.5 * (after - before);
    (curvature != 0.0).then(|| VertexFit {
        offset: -slope / curvature,
        height: at - 0.5 * slope * slope / curvature,
        curvature,
    })
}

/// Indices of strict local maxima inside the slice (a flat top counts once, at its middle), ends
/// excluded. Agrees with the local-maximum rule of `scipy.signal.find_peaks`.
pub fn local_maxima(curve: &[f64]) -> Vec<usize> {
    let mut maxima = Vec::new();
    let mut index = 1;
    while index + 1 < curve.len() {
        if curve[index] > curve[index - 1] {
            let mut end = index;
            while end + 1 < curve.len() && curve[end + 1] == curve[index] {
                end += 1;
            }
            if end + 1 < curve.len() && curve[end + 1] < curve[index] {
                maxima.push(usize::midpoint(index, end));
            }
            index = end + 1;
        } else {
            index += 1;
        }
    }
    maxima
}
