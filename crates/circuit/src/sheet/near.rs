//! The known name that is nearest to one that is not known.

/// "did you mean …", and a blank; empty if none of the known names is near.
pub fn did_you_mean<'k>(name: &str, known: impl IntoIterator<Item = &'k str>) -> String {
    nearest(name, known).map_or_else(String::new, |near| format!("did you mean \"{near}\"? "))
}

/// The nearest name: at most a third of its letters, or two, differ. The first of those that are
/// as near.
fn nearest<'k>(name: &str, known: impl IntoIterator<Item = &'k str>) -> Option<&'k str> {
    known
        .into_iter()
        .map(|k| (edits(name, k), k))
        .filter(|(edits, k)| *edits <= (k.chars().count() / 3).max(2) && *edits < k.chars().count())
        .min_by_key(|(edits, _)| *edits)
        .map(|(_, k)| k)
}

/// How many letters must be changed, added or left out (Levenshtein's distance, by rows).
fn edits(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.to_lowercase().chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.to_lowercase().chars().enumerate() {
        let mut corner = row[0];
        row[0] = i + 1;
        for (j, y) in b.iter().enumerate() {
            let kept = corner + usize::from(x != *y);
            corner = row[j + 1];
            row[j + 1] = kept.min(corner + 1).min(row[j] + 1);
        }
    }
    row[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distances_of_the_textbook() {
        // The worked example of every text on the distance.
        assert_eq!(edits("kitten", "sitting"), 3);
        assert_eq!(edits("", "fan"), 3);
        assert_eq!(edits("Mark", "mark"), 0);
    }

    #[test]
    fn only_what_is_near_is_suggested() {
        let known = ["name", "kind", "words", "rating"];
        assert_eq!(nearest("kin", known), Some("kind"));
        assert_eq!(nearest("ratings", known), Some("rating"));
        assert_eq!(nearest("colour", known), None);
    }
}
