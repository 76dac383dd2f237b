//! The page for people: valid markup, escaped texts, sufficient contrast, and marks at the right
//! positions.

use std::collections::{BTreeMap, BTreeSet};

use obvert_check::output::{CAUTION, html};
use obvert_check::{Report, Severity};
use serde_json::json;
use sha2::{Digest, Sha256};

use crate::fixtures::{HOSTILE, all, check, minimal, mistaken, today, unread};
use crate::{FORMS, text};

fn page(report: &Report) -> String {
    text(FORMS[5].1, report)
}

/// A tag with its attributes and the text after it.
#[derive(Debug)]
struct Tag {
    name: String,
    close: bool,
    attributes: BTreeMap<String, String>,
    text: String,
}

/// Parses a page strictly: every attribute is in double quotes or bare, and texts have no markup.
fn tags(page: &str) -> Vec<Tag> {
    let mut tags: Vec<Tag> = Vec::new();
    let mut rest = page;
    while let Some(start) = rest.find('<') {
        if let Some(last) = tags.last_mut() {
            last.text = rest[..start].to_owned();
        }
        rest = &rest[start + 1..];
        // The content of these two is not markup.
        let (close, inside) = rest.strip_prefix('/').map_or((false, rest), |inside| (true, inside));
        let name: String =
            inside.chars().take_while(|c| c.is_ascii_alphanumeric() || *c == '!').collect();
        assert!(!name.is_empty(), "a < that begins no tag: {}", &rest[..rest.len().min(60)]);
        let mut inside = &inside[name.len()..];
        let mut attributes = BTreeMap::new();
        loop {
            inside = inside.trim_start();
            if let Some(after) = inside.strip_prefix("/>").or_else(|| inside.strip_prefix('>')) {
                if inside.starts_with("/>") {
                    attributes.insert("/".to_owned(), String::new());
                }
                rest = after;
                break;
            }
            let key: String =
                inside.chars().take_while(|c| c.is_ascii_alphanumeric() || *c == '-').collect();
            assert!(!key.is_empty(), "no attribute: {}", &inside[..inside.len().min(60)]);
            inside = &inside[key.len()..];
            let mut value = String::new();
            if let Some(quoted) = inside.strip_prefix("=\"") {
                let (content, after) = quoted.split_once('"').expect("a closing quote");
                value = content.to_owned();
                inside = after;
            }
            assert!(
                attributes.insert(key.clone(), value).is_none(),
                "duplicate attribute {key} in {name}"
            );
        }
        if !close && (name == "style" || name == "script") {
            let end = rest.find(&format!("</{name}>")).expect("an end tag");
            tags.push(Tag {
                name: name.clone(),
                close: false,
                attributes,
                text: rest[..end].to_owned(),
            });
            rest = &rest[end + name.len() + 3..];
            tags.push(Tag { name, close: true, attributes: BTreeMap::new(), text: String::new() });
            continue;
        }
        tags.push(Tag { name, close, attributes, text: String::new() });
    }
    tags
}

/// Elements without an end tag. Source: WHATWG HTML, 13.1.2, void elements; `!DOCTYPE` is not an
/// element.
const VOID: [&str; 4] = ["meta", "input", "link", "!DOCTYPE"];

#[test]
fn pages_are_well_formed() {
    for fixture in all() {
        let (name, page) = (fixture.name, page(&fixture.report));
        let tags = tags(&page);
        let mut open: Vec<&str> = Vec::new();
        for tag in &tags {
            if tag.close {
                assert_eq!(open.pop(), Some(tag.name.as_str()), "{name}");
            } else if !VOID.contains(&tag.name.as_str()) && !tag.attributes.contains_key("/") {
                open.push(&tag.name);
            }
        }
        assert_eq!(open, Vec::<&str>::new(), "{name}");
        let mut ids = BTreeSet::new();
        for id in tags.iter().filter_map(|tag| tag.attributes.get("id")) {
            assert!(ids.insert(id.as_str()), "{name}: duplicate id {id}");
        }
        for tag in &tags {
            for key in ["aria-labelledby", "aria-describedby", "for"] {
                for id in tag.attributes.get(key).into_iter().flat_map(|value| value.split(' ')) {
                    assert!(ids.contains(id), "{name}: {key} names {id}");
                }
            }
            if let Some(target) = tag.attributes.get("href") {
                let id = target
                    .strip_prefix('#')
                    .unwrap_or_else(|| panic!("{name}: a link out of the page: {target}"));
                assert!(ids.contains(id), "{name}: a link to {id}");
            }
            for key in ["src", "action", "style", "onclick", "onerror", "xlink"] {
                assert!(!tag.attributes.contains_key(key), "{name}: {tag:?}");
            }
        }
        // Nothing is loaded: the page has no URL of another resource.
        assert!(!page.contains("url(") && !page.contains("@import"), "{name}");
        let count =
            |wanted: &str| tags.iter().filter(|tag| tag.name == wanted && !tag.close).count();
        for (element, times) in [
            ("h1", 1),
            ("main", 1),
            ("header", 1),
            ("footer", 1),
            ("script", 1),
            ("style", 1),
            ("title", 1),
        ] {
            let found = tags.iter().filter(|tag| tag.name == element && !tag.close);
            // A drawing has its own title.
            let found = if element == "title" { found.take(1).count() } else { count(element) };
            assert_eq!(found, times, "{name}: {element}");
        }
        // No heading level is skipped.
        let mut level = 0;
        for tag in tags.iter().filter(|tag| !tag.close) {
            let number = tag.name.strip_prefix('h').and_then(|number| number.parse::<usize>().ok());
            if let Some(number) = number {
                assert!(number <= level + 1, "{name}: h{number} after h{level}");
                level = number;
            }
        }
        let skip = tags.iter().find(|tag| tag.name == "a").expect("a link");
        assert_eq!(
            skip.attributes["href"], "#findings",
            "{name}: the first link skips to the findings"
        );
        assert!(
            tags.iter().any(|tag| tag.name == "html"
                && tag.attributes.get("lang").is_some_and(|lang| lang == "en"))
        );
    }
}

#[test]
fn hostile_texts_stay_texts() {
    let fixture = all().into_iter().find(|fixture| fixture.name == "hostile").expect("hostile");
    let page = page(&fixture.report);
    let tags = tags(&page);
    let known: BTreeSet<&str> = [
        "!DOCTYPE",
        "html",
        "head",
        "meta",
        "title",
        "style",
        "body",
        "a",
        "header",
        "p",
        "h1",
        "h2",
        "h3",
        "h4",
        "h5",
        "bdi",
        "strong",
        "nav",
        "ul",
        "li",
        "span",
        "main",
        "section",
        "div",
        "table",
        "thead",
        "tbody",
        "tfoot",
        "tr",
        "th",
        "td",
        "svg",
        "path",
        "circle",
        "rect",
        "text",
        "g",
        "desc",
        "figure",
        "figcaption",
        "details",
        "summary",
        "code",
        "ol",
        "dl",
        "dt",
        "dd",
        "label",
        "input",
        "footer",
        "script",
    ]
    .into();
    for tag in &tags {
        assert!(known.contains(tag.name.as_str()), "{tag:?}");
    }
    for text in HOSTILE {
        let shown: String = text
            .chars()
            .map(|c| match c {
                '&' => "&amp;".into(),
                '<' => "&lt;".into(),
                '>' => "&gt;".into(),
                '"' => "&quot;".into(),
                '\'' => "&#39;".into(),
                '\n' => " ".into(),
                c if c.is_control()
                    || "\u{202E}\u{202C}\u{2066}\u{200B}\u{FEFF}\u{FFFE}".contains(c) =>
                {
                    format!("[U+{:04X}]", u32::from(c))
                }
                c => c.to_string(),
            })
            .collect();
        assert!(page.contains(&shown), "{text:?} as {shown:?}");
    }
    // Source: Unicode Standard Annex 9 (explicit directional formatting), and the controls of
    // Unicode.
    let hiding = |c: char| {
        (c.is_control() && c != '\n')
            || matches!(c, '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}' | '\u{200B}' | '\u{200E}' | '\u{200F}' | '\u{FEFF}')
    };
    assert_eq!(page.chars().find(|c| hiding(*c)), None);
    // Letters of all languages stay as they are.
    assert!(page.contains("naïve Ωμέγα 漢字 👷🏽‍♀️ e\u{301}"));
}

/// The verdict comes first, in words, and the caution with it.
#[test]
fn the_verdict_comes_first() {
    for (name, title, says) in [
        ("clean", "Nothing to correct", "No check found anything."),
        ("mistakes", "Not ready to send", "mistakes must be corrected before the survey is sent."),
        ("no today", "Nothing to correct", "Some checks could not be run; they are listed below."),
        ("several", "Not ready to send", "1 file could not be read, so it was not checked."),
        ("structure", "Not ready to send", "2 mistakes must be corrected"),
        ("unread", "Could not be read", "2 files could not be read"),
    ] {
        let report = all().into_iter().find(|fixture| fixture.name == name).expect(name).report;
        let page = page(&report);
        let (header, rest) = page.split_once("</header>").expect("a header");
        assert!(header.contains(&format!("<h1>{title}</h1>")), "{name}: {header}");
        assert!(header.contains(says), "{name}: {header}");
        assert!(header.contains(CAUTION), "{name}");
        assert_eq!(rest.contains("could not be checked"), !report.not_run.is_empty(), "{name}");
    }
    let mut report = unread("a.json", "a.json: there is no such file");
    report.merge(check(&minimal(), "clean.obvert.json", today()));
    assert!(!page(&report).contains("<h1>Nothing to correct</h1>"), "one file of two is unknown");
}

#[test]
fn every_finding_has_a_number_a_location_and_advice() {
    let report = check(&mistaken(), "m.obvert.json", today());
    let page = page(&report);
    let tags = tags(&page);
    for number in 1..=report.findings.len() {
        let id = format!("f-{number}");
        assert!(
            tags.iter().any(|tag| tag.name == "li" && tag.attributes.get("id") == Some(&id)),
            "{id}"
        );
    }
    for finding in &report.findings {
        let message = finding.message.replace('"', "&quot;");
        assert!(page.contains(&message), "{message}");
        let at = finding.at.as_ref().expect("a place");
        assert!(
            page.contains(&format!("line {}, character {}", at.line, at.column.expect("a column"))),
            "{at:?}"
        );
        assert!(page.contains(&format!("<code>{}</code>", finding.rule)));
    }
    assert_eq!(page.matches("What to do.").count(), page.matches("<div class=\"group ").count());
    let whole = page.find("The whole survey").expect("the whole");
    let pipe = page.find("<h3 id=\"s-").expect("a pipe");
    assert!(whole > pipe, "the whole survey is the first section");
    assert!(page.find("Pipe <bdi>L-101</bdi></h3>").expect("L-101") > whole);
    assert!(page.find("Pipe <bdi>L-101</bdi></h3>") < page.find("Pipe <bdi>L-102</bdi></h3>"));
}

#[test]
fn a_check_is_described_with_its_exceptions() {
    let page = page(&check(&mistaken(), "m.obvert.json", today()));
    let exceptions = "<h5>Exceptions</h5><ul><li>The code takes no clock reference \
                      (<code>clock-not-applicable</code>).</li><li>A mistake in the whole column explains \
                      it (*Mistakes in a column* in Checking).</li></ul><h5>Why it \
                      matters</h5>";
    assert!(page.contains(exceptions), "{page}");
}

/// The positions of the marks in a drawing, by the numbers of their findings.
fn marks(page: &str, rule: &str, report: &Report) -> f64 {
    let index = report.rules.iter().position(|total| total.rule == rule).expect(rule);
    let severity = report.rules[index].severity;
    let mark = format!("<a class=\"is-{severity} r{index} ");
    let rest = page.split_once(&mark).unwrap_or_else(|| panic!("{rule} is not drawn")).1;
    let x =
        rest.split_once("translate(").expect("a place").1.split_once(' ').expect("two numbers").0;
    x.parse().expect("a number")
}

/// The pipe goes from 24 to 896. A run against the flow is measured from the other end.
#[test]
fn findings_are_drawn_at_their_distances() {
    let along = |part: f64| 24.0 + part * (896.0 - 24.0);
    // L-101 is 200 ft long, and roots are at 120 ft of a run with the flow.
    let report = check(&mistaken(), "m.json", today());
    assert!((marks(&page(&report), "clock-range", &report) - along(120.0 / 200.0)).abs() < 0.06);
    // L-102 is 180 ft long, and R-102R met R-102 at 90 ft from the lower end: the mistake is at 30
    // ft.
    let mut document = minimal();
    let rows = document["runs"][2]["observations"].as_array_mut().expect("rows");
    rows.insert(
        1,
        json!({ "id": "9", "at": 30, "code": "roots.fine", "quantities": [{ "value": 10, "unit": "percent" }],
        "clock": { "from": 5, "to": 13 }, "joint": true, "grades": { "operational": 2 } }),
    );
    let report = check(&document, "m.json", today());
    assert!((marks(&page(&report), "clock-range", &report) - along(150.0 / 180.0)).abs() < 0.06);
    // The counter read 10 ft at a zero point 4 ft from the structure: 30 ft is 24 ft away from it.
    document["runs"][2]["counter"] = json!({ "zero": "access-fitting", "offset": 4, "reads": 10 });
    document["runs"][2]["observations"][0]["at"] = json!(10);
    let report = check(&document, "m.json", today());
    assert!((marks(&page(&report), "clock-range", &report) - along(156.0 / 180.0)).abs() < 0.06);
}

/// A misplaced decimal point does not shrink the pipe: the mark is at the edge and has an arrow.
#[test]
fn distances_far_outside_are_marked_at_the_edge() {
    let report = check(&mistaken(), "m.json", today());
    let page = page(&report);
    assert!(report.findings.iter().any(|finding| finding.subject.distance == Some(1963.0)));
    assert!(page.contains("at 1963 ft, beyond the drawing"));
    assert!(
        (marks(&page, "clock-range", &report) - (24.0 + 0.6 * 872.0)).abs() < 0.06,
        "the scale is the pipe's"
    );
}

/// Many findings at one distance: those that do not fit become one mark with their number.
#[test]
fn crowded_marks_are_counted() {
    let mut document = minimal();
    let rows = document["runs"][0]["observations"].as_array_mut().expect("rows");
    for number in 0..20 {
        rows.insert(3, json!({ "id": format!("x{number}"), "at": 12.4, "code": "note.remark", "remark": "here ", "media": [{ "id": "M-2", "offset": 50 }] }));
    }
    let report = check(&document, "m.json", today());
    let untrimmed =
        report.rules.iter().find(|total| total.rule == "text-untrimmed").expect("the rule").total;
    assert_eq!(untrimmed, 20);
    let page = page(&report);
    let drawing = page
        .split_once("<svg class=\"pipe\"")
        .expect("a drawing")
        .1
        .split_once("</svg>\n</div>")
        .expect("its end")
        .0;
    let drawn = drawing.matches("<a class=\"is-").count();
    let rest = report.findings.len() - drawn;
    assert!(drawn >= 6 && rest > 1, "{drawn} of {}", report.findings.len());
    assert!(drawing.contains(&format!(">+{rest}</text>")), "{drawing}");
    let words = page
        .split_once("The drawing in words")
        .expect("words")
        .1
        .split_once("</details>")
        .expect("their end")
        .0;
    for number in 1..=report.findings.len() {
        assert!(words.contains(&format!("href=\"#f-{number}\"")), "finding {number} in words");
    }
}

/// A pipe is not drawn if neither its length nor that of its runs is known. Its findings are
/// listed.
#[test]
fn a_pipe_without_lengths_is_not_drawn() {
    let mut document = minimal();
    document["pipes"][1].as_object_mut().expect("a pipe").remove("length");
    document["pipes"][1]["height"] = json!(0.3);
    for run in [1, 2] {
        document["runs"][run].as_object_mut().expect("a run").remove("surveyed");
        document["runs"][run]["observations"] = json!([]);
    }
    let page = page(&check(&document, "m.json", today()));
    let section = page.split_once("Pipe <bdi>L-102</bdi></h3>").expect("the pipe").1;
    assert!(section.contains("size-implausible") && !section.contains("<svg class=\"pipe\""));
}

#[test]
fn the_page_states_that_findings_are_not_shown() {
    let mut document = minimal();
    for row in document["runs"][0]["observations"].as_array_mut().expect("rows") {
        row["clock"] = json!({ "at": 3.2 });
    }
    let report = check(&document, "m.json", today());
    let total =
        report.rules.iter().find(|rule| rule.rule == "clock-range").expect("the rule").total;
    let mut options = html::Options::default();
    options.per_rule = 1;
    let mut out = Vec::new();
    html::write(&report, &options, &mut out).expect("written");
    let page = String::from_utf8(out).expect("UTF-8");
    assert!(page.contains(&format!("<code>clock-range</code>: 1 of {total} shown")), "{page}");
    assert!(
        page.contains(&format!("<span class=\"dim\">{total}</span>")),
        "the filter tells the whole number"
    );
}

/// The filter works without a script: every box has a rule in the style that hides marks and
/// texts.
#[test]
fn the_filter_needs_no_script() {
    let report = check(&mistaken(), "m.json", today());
    let page = page(&report);
    let tags = tags(&page);
    let style = &tags.iter().find(|tag| tag.name == "style").expect("a style").text;
    let boxes: Vec<&Tag> = tags.iter().filter(|tag| tag.name == "input").collect();
    let severities =
        Severity::ALL.into_iter().filter(|severity| report.totals.of(*severity) > 0).count();
    assert_eq!(boxes.len(), severities + report.rules.len());
    for tag in boxes {
        let id = &tag.attributes["id"];
        let class = id.strip_prefix("show-").expect("a name");
        let class = if class.starts_with('r') { class.to_owned() } else { format!("is-{class}") };
        assert!(
            style.contains(&format!("body:has(#{id}:not(:checked)) .{class} {{ display: none }}")),
            "{id}"
        );
        assert!(tags.iter().any(|tag| {
            tag.attributes.get("class").is_some_and(|of| of.split(' ').any(|one| one == class))
        }));
    }
}

/// The policy of the page allows this script and no other.
#[test]
fn the_policy_allows_only_the_script() {
    let page = page(&all().remove(0).report);
    let tags = tags(&page);
    let script = &tags.iter().find(|tag| tag.name == "script").expect("a script").text;
    let hash = Sha256::digest(script.as_bytes());
    const DIGITS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    // Base64 (RFC 4648) of 32 bytes.
    let mut base64 = String::new();
    for chunk in hash.chunks(3) {
        let bits = chunk.iter().fold(0u32, |bits, byte| bits << 8 | u32::from(*byte))
            << (8 * (3 - chunk.len()));
        for place in 0..4 {
            base64.push(if place <= chunk.len() {
                char::from(DIGITS[(bits >> (18 - 6 * place) & 63) as usize])
            } else {
                '='
            });
        }
    }
    assert!(page.contains(&format!("script-src 'sha256-{base64}'")), "the digest is {base64}");
    assert!(page.contains("default-src 'none'"));
}

/// Source: WCAG 2.2, relative luminance and contrast ratio; 1.4.3 requires 4.5 for text, 1.4.11
/// requires 3 for shapes.
#[test]
fn colours_have_enough_contrast() {
    let page = page(&all().remove(0).report);
    let tags = tags(&page);
    let style = &tags.iter().find(|tag| tag.name == "style").expect("a style").text;
    let blocks: Vec<BTreeMap<String, [f64; 3]>> = style
        .split(":root {")
        .skip(1)
        .map(|block| {
            let block = block.split('}').next().expect("an end");
            let values = block
                .split(';')
                .filter_map(|line| line.trim().strip_prefix("--")?.split_once(": #"));
            values.map(|(name, hex)| (name.to_owned(), rgb(hex.trim()))).collect()
        })
        .collect();
    assert_eq!(blocks.len(), 3, "light, dark and print");
    for (scheme, colours) in ["light", "dark", "print"].iter().zip(blocks) {
        let text = [
            ("ink", "paper"),
            ("ink", "panel"),
            ("dim", "paper"),
            ("dim", "panel"),
            ("link", "paper"),
            ("error", "paper"),
            ("warning", "paper"),
            ("note", "paper"),
            ("paper", "error"),
            ("ink", "warning-soft"),
            ("ink", "note-soft"),
            ("dim", "warning-soft"),
            ("link", "warning-soft"),
        ];
        let shapes = [
            ("error", "paper"),
            ("warning", "paper"),
            ("note", "paper"),
            ("warning", "warning-soft"),
            ("ink", "bore"),
        ];
        for (pairs, least) in [(&text[..], 4.5), (&shapes[..], 3.0)] {
            for (front, back) in pairs {
                let ratio = contrast(colours[*front], colours[*back]);
                assert!(ratio >= least, "{scheme}: {front} on {back} has {ratio:.2}");
            }
        }
    }
    // The published ends of the scale: black on white is 21 to 1.
    assert!((contrast([0.0; 3], [255.0; 3]) - 21.0).abs() < 1e-9);
}

fn rgb(hex: &str) -> [f64; 3] {
    let wide: String =
        if hex.len() == 3 { hex.chars().flat_map(|c| [c, c]).collect() } else { hex.to_owned() };
    [0, 2, 4].map(|at| f64::from(u8::from_str_radix(&wide[at..at + 2], 16).expect("a colour")))
}

fn contrast(one: [f64; 3], other: [f64; 3]) -> f64 {
    let luminance = |colour: [f64; 3]| {
        let [r, g, b] = colour.map(|part| {
            let part = part / 255.0;
            if part <= 0.04045 { part / 12.92 } else { ((part + 0.055) / 1.055).powf(2.4) }
        });
        0.2126 * r + 0.7152 * g + 0.0722 * b
    };
    let (one, other) = (luminance(one), luminance(other));
    (one.max(other) + 0.05) / (one.min(other) + 0.05)
}

/// The advice of a structural problem is that of its kind.
#[test]
fn advice_is_not_repeated() {
    let mut document = minimal();
    document["pipes"][0]["carries"] = json!("foul");
    let report = check(&document, "survey.obvert.json", today());
    let page = page(&report);
    let advice = "The word is not in the vocabulary of the field.";
    assert!(page.contains(&format!("<strong>What to do.</strong> {advice}")));
    assert!(!page.contains(&format!("<dt>Advice</dt><dd>{advice}")));
}

#[test]
fn automatic_fixes_are_announced() {
    let mut document = minimal();
    document["runs"][0]["remark"] = json!("second visit ");
    document["runs"][1].as_object_mut().expect("a run").remove("surveyed");
    let report = check(&document, "survey.obvert.json", today());
    let page = page(&report);
    for (safe, sentence) in
        [(true, "Can be fixed automatically</dt>"), (false, "Can be fixed if you confirm</dt>")]
    {
        let fix = report
            .findings
            .iter()
            .filter_map(|finding| finding.fix.as_ref())
            .find(|fix| fix.safe == safe);
        let does = &fix.expect("a fix").does;
        let after = page.split_once(sentence).expect("the sentence").1;
        assert!(
            after.contains(&format!("<dd>{does} (<code>obvert fix")),
            "{does}: {}",
            &after[..200]
        );
    }
}

/// If a rule has more findings than the page lists, the page does not state that all are shown.
#[test]
fn unlisted_findings_are_counted() {
    let mut document = minimal();
    let rows = document["runs"][0]["observations"].as_array_mut().unwrap();
    for number in 0..205 {
        let row = json!({ "id": format!("x{number}"), "at": 130, "code": "crack.longitudinal", "clock": { "at": 13 } });
        rows.insert(6, row);
    }
    let report = check(&document, "many.json", today().with_keep(usize::MAX));
    let found: usize = Severity::ALL.into_iter().map(|severity| report.totals.of(severity)).sum();
    let page = page(&report);
    let listed = page.matches("<li id=").count();
    assert!(listed < found, "{listed} of {found}");
    assert!(
        page.contains(&format!("data-all=\"{listed}\" data-found=\"{found}\"")),
        "{listed} of {found}"
    );
}
