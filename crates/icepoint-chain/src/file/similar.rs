//! "Did you mean": the known word that is nearest to an unknown one.

/// Longest word that is compared; longer ones are no slip of the fingers.
const LONGEST: usize = 60;

/// The known word nearest to `found`, if it is near enough to be a slip; the first of equals. Capitals, spaces,
/// hyphens and underscores count for nothing. Two letters are the start of a word if no other one starts with them.
pub fn nearest<'a>(found: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let found = folded(found);
    if found.is_empty() || found.len() > LONGEST {
        return None;
    }
    let allowed = 1 + found.len() / 4;
    let known: Vec<&str> = known.into_iter().collect();
    let mut starting = known.iter().filter(|word| found.len() >= 2 && folded(word).starts_with(&found[..]));
    let only = starting.next().copied().filter(|_| starting.next().is_none());
    known
        .into_iter()
        .filter_map(|word| {
            let word_folded = folded(word);
            let distance = distance(&found, &word_folded);
            // a word that is the start of another is an abbreviation: "tempcoefficient", "res"
            let starts = found.len() >= 3
                && (word_folded.starts_with(&found[..]) || found.starts_with(&word_folded[..]));
            (distance <= allowed.min(word_folded.len().saturating_sub(1).max(1))
                || (starts && word_folded.len() >= 3))
                .then_some((distance, word))
        })
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, word)| word)
        .or(only)
}

/// The known word that `found` is but for one letter too many, missing, wrong, or swapped with its neighbour; the first of
/// equals. Capitals, spaces, hyphens and underscores count for nothing.
pub fn one_slip<'a>(found: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let found = folded(found);
    if found.is_empty() || found.len() > LONGEST {
        return None;
    }
    known.into_iter().find(|word| distance(&found, &folded(word)) <= 1)
}

fn folded(text: &str) -> Vec<char> {
    text.chars()
        .take(LONGEST + 1)
        .filter(|c| !matches!(c, ' ' | '-' | '_'))
        .flat_map(char::to_lowercase)
        .collect()
}

/// Least number of letters to insert, delete, replace or swap with a neighbour.
fn distance(a: &[char], b: &[char]) -> usize {
    let mut before_last: Vec<usize> = vec![0; b.len() + 1];
    let mut last: Vec<usize> = (0..=b.len()).collect();
    for i in 1..=a.len() {
        let mut row = vec![i; b.len() + 1];
        for j in 1..=b.len() {
            let replaced = last[j - 1] + usize::from(a[i - 1] != b[j - 1]);
            row[j] = replaced.min(last[j] + 1).min(row[j - 1] + 1);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                row[j] = row[j].min(before_last[j - 2] + 1);
            }
        }
        before_last = std::mem::replace(&mut last, row);
    }
    last[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn distances_by_hand() {
        let d = |a, b| distance(&folded(a), &folded(b));
        assert_eq!(d("", "abc"), 3);
        assert_eq!(d("kitten", "sitting"), 3);
        assert_eq!(d("acuracy", "accuracy"), 1);
        assert_eq!(d("haed", "head"), 1);
        assert_eq!(d("same", "same"), 0);
    }

    #[test]
    fn one_slip_is_one_letter() {
        let words = ["ice bath", "dry-well-A"];
        assert_eq!(one_slip("Ice baht", words), Some("ice bath"));
        assert_eq!(one_slip("dry well B", words), Some("dry-well-A"));
        assert_eq!(one_slip("ice bats 2", words), None);
        assert_eq!(one_slip("", words), None);
        assert_eq!(one_slip(&"x".repeat(10_000), words), None);
    }

    #[test]
    fn suggests_only_what_is_near() {
        let keys = ["accuracy", "board", "hot", "mains", "settle_within"];
        assert_eq!(nearest("acuracy", keys), Some("accuracy"));
        assert_eq!(nearest("Settle-Within", keys), Some("settle_within"));
        assert_eq!(nearest("settle", keys), Some("settle_within"));
        assert_eq!(nearest("colour", keys), None);
        // Two letters that start one word; one letter, or the start of two, says nothing.
        assert_eq!(nearest("up", ["upscale", "downscale"]), Some("upscale"));
        assert_eq!(nearest("se", ["settle_within", "series_pickup"]), None);
        assert_eq!(nearest("u", ["upscale", "downscale"]), None);
        assert_eq!(nearest("", keys), None);
        assert_eq!(nearest(&"x".repeat(10_000), keys), None);
    }
}
