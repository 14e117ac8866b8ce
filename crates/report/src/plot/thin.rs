//! Lines of many points, made no finer than the page shows.

/// The least and the greatest point of every stretch of `width` page units, in their order, and both ends: what is drawn looks
/// the same, and the size of a drawing is bounded by the page instead of the sample rate.
pub(super) fn thin(points: &[(f64, f64)], width: f64) -> Vec<(f64, f64)> {
    let stretch = |point: &(f64, f64)| (point.0 / width).floor();
    let within = points
        .chunk_by(|one, other| stretch(one) == stretch(other))
        .flat_map(extremes);
    let mut kept: Vec<_> = points.first().copied().into_iter().chain(within).collect();
    kept.extend(points.last());
    kept.dedup();
    kept
}

fn extremes(points: &[(f64, f64)]) -> impl Iterator<Item = (f64, f64)> {
    let by = |one: &usize, other: &usize| points[*one].1.total_cmp(&points[*other].1);
    let least = (0..points.len()).min_by(by);
    let greatest = (0..points.len()).max_by(by);
    let (one, other) = (least.min(greatest), least.max(greatest));
    let alike = one == other;
    one.into_iter()
        .chain(other.filter(|_| !alike))
        .map(|place| points[place])
}

#[cfg(test)]
mod tests {
    use super::thin;

    /// A spike of one sample in a hundred stays, and so do both ends.
    #[test]
    fn no_extreme_is_lost() {
        let level = |index: usize| if index == 57 { 9.0 } else { (index % 2) as f64 };
        let points: Vec<_> = (0..1000)
            .map(|index| (index as f64 / 100.0, level(index)))
            .collect();
        let thinned = thin(&points, 1.0);
        assert!(thinned.len() <= 22, "{}", thinned.len());
        assert!(thinned.contains(&(0.57, 9.0)));
        assert_eq!(
            (thinned[0], *thinned.last().unwrap()),
            (points[0], points[999])
        );
        assert!(thinned.windows(2).all(|pair| pair[0].0 < pair[1].0));
    }

    #[test]
    fn few_points_stay_as_they_are() {
        let points = [(0.0, 1.0), (1.5, 2.0), (3.0, 0.0)];
        assert_eq!(thin(&points, 1.0), points);
        assert_eq!(thin(&[], 1.0), []);
    }
}
