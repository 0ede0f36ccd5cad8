//! Structure, policy, sizes, escaping, sameness: the bytes of the page.

use std::collections::BTreeSet;

use sha2::{Digest, Sha256};

use super::{example, many_shots, page_of};
use crate::common::{Field, HEAD};

/// Limits of the page's size.
const LIMIT_OF_1000: usize = 1_000_000;
const LIMIT_OF_50000: usize = 6_000_000;

/// Texts between two marks.
fn between<'p>(page: &'p str, open: &str, close: &str) -> Vec<&'p str> {
    page.split(open).skip(1).map(|rest| rest.split(close).next().unwrap()).collect()
}

/// The parts of a page, in order.
fn parts(page: &str) -> Vec<&str> {
    between(page, "<section id=\"", "\"")
}

/// Base 64 by RFC 4648.
fn base64(bytes: &[u8]) -> String {
    let signs: Vec<char> = ('A'..='Z').chain('a'..='z').chain('0'..='9').chain(['+', '/']).collect();
    let bits: String = bytes.iter().map(|byte| format!("{byte:08b}")).collect();
    let bits: Vec<char> = bits.chars().collect();
    let mut text: String = bits
        .chunks(6)
        .map(|six| {
            let six: String = six.iter().chain(std::iter::repeat(&'0')).take(6).collect();
            signs[usize::from_str_radix(&six, 2).unwrap()]
        })
        .collect();
    while !text.len().is_multiple_of(4) {
        text.push('=');
    }
    text
}

#[test]
fn parts_stand_in_their_order_and_empty_ones_are_left_out() {
    let out = tempfile::tempdir().unwrap();
    let page = example("cliff-nests", out.path());
    assert_eq!(parts(&page), ["map", "values", "good", "todo", "method"]);
    assert!(page.contains("<h1><bdi>Gull ledges, Skerrow Head</bdi></h1>"));
    assert!(page.contains("from 3 bases."), "the sentence");
    assert!(page.contains("6 rows are held and 1 flagged"));
    // A job of two shots: nothing waits, nothing is drawn.
    let page = page_of(&Field::new(format!("{HEAD}A,1,2026-06-15T08:00:00Z,10,1,50,\nA,2,2026-06-15T08:00:00Z,20,1,50,\n")));
    assert_eq!(parts(&page), ["map", "values", "good", "method"]);
    let page = example("span-survey", out.path());
    assert!(parts(&page).contains(&"drawings"));
}

/// Content Security Policy Level 3: `default-src 'none'`, and the inline script and style by their SHA-256 in base 64.
#[test]
fn the_policy_names_the_hash_of_the_script_and_of_the_style() {
    let out = tempfile::tempdir().unwrap();
    let page = example("cliff-nests", out.path());
    let policy = between(&page, "http-equiv=\"Content-Security-Policy\" content=\"", "\"")[0];
    assert!(policy.starts_with("default-src 'none'; "));
    let hash = |text: &str| format!("'sha256-{}'", base64(&Sha256::digest(text)));
    let (scripts, styles) = (between(&page, "<script>", "</script>"), between(&page, "<style>", "</style>"));
    assert_eq!((scripts.len(), styles.len()), (1, 1));
    assert!(policy.contains(&format!("script-src {};", hash(scripts[0]))), "{policy}");
    assert!(policy.contains(&format!("style-src {};", hash(styles[0]))), "{policy}");
    assert!(!policy.contains("unsafe"));
}

#[test]
fn nothing_refers_to_anything_outside() {
    let out = tempfile::tempdir().unwrap();
    for name in ["cliff-nests", "span-survey", "forest-plot", "canopy-traverse"] {
        let page = example(name, out.path());
        let page = page.replace(between(&page, "<script>", "</script>")[0], "");
        for (open, what) in
            [(" src=\"", "src"), (" href=\"", "href"), ("url(", "url"), (" srcset=\"", "srcset"), ("@import", "import")]
        {
            for place in between(&page, open, "\"") {
                assert!(what == "href" && place.starts_with('#'), "{name}: {what} {place}");
            }
        }
        // Each link has its place.
        let ids: BTreeSet<&str> = between(&page, " id=\"", "\"").into_iter().collect();
        for place in between(&page, " href=\"#", "\"") {
            assert!(ids.contains(place), "{name}: #{place}");
        }
        for forbidden in ["<iframe", "<object", "<embed", "<link", "<img", " style=\"", " onclick", " onload"] {
            assert!(!page.contains(forbidden), "{name}: {forbidden}");
        }
        let ids = between(&page, " id=\"", "\"");
        assert_eq!(ids.len(), ids.iter().collect::<BTreeSet<_>>().len(), "{name}: ids are unique");
    }
}

#[test]
fn hostile_names_are_text() {
    const NAME: &str = "<img src=x onerror=alert(1)></script><script>alert(2)</script>";
    let log = format!(
        "base,shot,feature,code,true_azimuth_deg,inclination_deg,slope_distance_m\nA,1,{NAME},\"\"\"'>{NAME}\",10,1,50\nA,2,\u{202e}gnirts,<b>,20,1,60\n\
         A,3,\u{1}control,{{{{7*7}}}},30,1,\n"
    );
    let field = Field::new(log);
    let field = Field { job: field.job.replace("name = \"t\"", &format!("name = \"t\"\ntitle = \"{NAME}\"")), ..field };
    field.command(&["map", "job.toml"]);
    let page = std::fs::read_to_string(field.path("t-layers/t.report.html")).unwrap();
    assert_eq!(page.matches("<script").count(), 2, "the data and the script alone");
    assert!(!page.contains("<img") && !page.contains("<b>") && !page.contains("onerror=alert(1)>"));
    assert!(page.contains("&lt;img src=x onerror=alert(1)&gt;") || page.contains("&#60;img src=x"));
    let data = between(&page, "id=\"data\">", "</script>")[0];
    assert!(!data.contains('<') && !data.contains('&'));
    let data: serde_json::Value = serde_json::from_str(data).unwrap();
    assert_eq!(data["features"]["name"][0], NAME);
    assert!(!page.contains('\u{1}'), "no sign that controls something");
}

#[test]
fn the_same_input_gives_the_same_bytes_on_any_number_of_threads() {
    let field = Field::new(many_shots(3_000));
    let pages: Vec<String> = ["1", "2", "7"]
        .iter()
        .map(|threads| {
            let ran = field.command(&["map", "job.toml", "--threads", threads]);
            assert!(ran.status.success());
            std::fs::read_to_string(field.path("t-layers/t.report.html")).unwrap()
        })
        .collect();
    assert!(pages[0] == pages[1] && pages[1] == pages[2]);
}

#[test]
fn sizes_stay_below_their_limits_and_every_feature_is_counted() {
    for (count, limit) in [(1_000, LIMIT_OF_1000), (50_000, LIMIT_OF_50000)] {
        let page = page_of(&Field::new(many_shots(count)));
        assert!(page.len() < limit, "{} bytes for {count} features", page.len());
        let data: serde_json::Value = serde_json::from_str(between(&page, "id=\"data\">", "</script>")[0]).unwrap();
        let features = &data["features"];
        assert_eq!(features["seen"], count);
        let (kept, stride) = (features["name"].as_array().unwrap().len(), features["stride"].as_u64().unwrap() as usize);
        // About one of so many: within five standard deviations of the binomial law.
        let (expected, share) = (count as f64 / stride as f64, 1.0 / stride as f64);
        assert!((kept as f64 - expected).abs() <= 5.0 * (expected * (1.0 - share)).sqrt(), "{kept} of {count}, one of {stride}");
        if count == 50_000 {
            let cells = data["cells"]["cells"].as_array().unwrap();
            let counted: u64 = cells.iter().skip(2).step_by(3).map(|count| count.as_u64().unwrap()).sum();
            assert_eq!(counted, 50_000, "the cells hold every feature");
            assert!(
                page.contains("50 000 features")
                    && page.contains("about one of 4 features, ")
                    && page.contains(" of 50 000; the grey cells")
            );
        }
    }
}

/// Values of the table of features against the layer: the rounding law by itself, two digits of the half interval.
#[test]
fn values_are_those_of_the_layers() {
    let field = Field::new(many_shots(20));
    let run = field.map();
    let page = std::fs::read_to_string(field.path("t-layers/t.report.html")).unwrap();
    let table = between(&page, "id=\"values-features\"", "</table>")[0];
    let rows: Vec<Vec<&str>> = between(table.split("<tbody>").nth(1).unwrap(), "<tr", "</tr>")
        .into_iter()
        .map(|row| between(row, "<td", "</td>").into_iter().map(|cell| cell.split_once('>').unwrap().1).collect())
        .collect();
    assert_eq!(rows.len(), 20);
    for (row, feature) in rows.iter().zip(&run.features) {
        let number = |name: &str| feature[name].parse::<f64>().unwrap();
        let height = row.iter().find(|cell| cell.contains('±')).unwrap();
        let (value, half) = height.split_once(" ± ").unwrap();
        let decimals = half.split_once('.').map_or(0, |(_, tail)| tail.len());
        let unit = 10f64.powi(-(decimals as i32));
        assert!((value.parse::<f64>().unwrap() - number("ellipsoid_height_m")).abs() <= 0.5001 * unit, "{height}");
        assert!((half.parse::<f64>().unwrap() - number("height95_m")).abs() <= 0.5001 * unit, "{height}");
        let digits = half.trim_start_matches(['0', '.']).replace('.', "").len();
        assert_eq!(digits, 2, "{height}");
    }
}
