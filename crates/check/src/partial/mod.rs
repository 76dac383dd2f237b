//! The check of a document that has structural problems: they are reported, and the rules run over what is readable.
//!
//! What was taken out must not make findings. A row that lost a value is not spoken of itself, unless the value is one
//! that no rule concludes from; the run that it stands in only row by row; and rules that conclude from a whole table
//! are not run where the table lost a row. The report says what was left out, which rules that kept from being run, and
//! how many findings were withheld.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

use obvert_model::read::{Diagnosis, LeftOut, Problem, ProblemKind, Remains};
use serde_json::Value;

use crate::bearings;
use crate::catalogue::{catalogue, find};
use crate::checker::{Checker, WITHOUT_STRUCTURE};
use crate::finding::Finding;
use crate::pipeline::Borrowed;
use crate::report::{self, NotRun, Report};
use crate::rule::{Check, Need, Rule};

/// Values that rules only judge for themselves: nothing else is concluded from one, and nothing from its want.
const PLAIN: &[&str] = &[
    "$schema",
    "asset",
    "caption",
    "certificate",
    "contact",
    "extensions",
    "language",
    "lining",
    "model",
    "note",
    "remark",
    "serial",
    "street",
    "title",
];

/// Rules that conclude from all runs of a pipe.
const OF_A_PIPE: &[&str] = &[
    "met-run-missing",
    "pipe-partly-surveyed",
    "rating-contradicts",
    "reverse-gap",
    "reverse-mismatch",
    "reverse-overlap",
    "reverse-of-missing",
    "run-gap",
];

/// Rules that conclude from all rows of a table, by the table.
const OF_A_TABLE: &[(&str, &[&str])] = &[
    ("parties", &["owner-contradicts-role"]),
    ("equipment", &["locate-without-transmitter", "method-contradicts-equipment"]),
    ("structures", &["structure-unconnected"]),
    ("pipes", &["structure-unconnected"]),
    ("media", &["graded-media-missing", "observation-media-missing", "run-media-missing", "worst-grade-without-photo"]),
    (
        "runs",
        &[
            "distance-drift",
            "distance-drift-on-map",
            "length-unit-suspect",
            "media-unused",
            "pipe-not-surveyed",
            "run-date-outlier",
            "runs-missing",
            "structure-unconnected",
        ],
    ),
    ("observations", &["media-unused"]),
];

/// Rules that miss something in an observation, by the list that it stands in.
const OF_A_ROW: &[(&str, &[&str])] = &[
    ("quantities", &["grade-contradicts", "grade-missing", "quantity-missing"]),
    ("media", &["graded-media-missing", "observation-media-missing", "run-media-missing", "worst-grade-without-photo"]),
];

/// Rules that look for the row that a reference names, by its table.
const REFERENCES: &[(&str, &str)] = &[
    ("parties", "unknown-party"),
    ("equipment", "unknown-equipment"),
    ("structures", "unknown-structure"),
    ("pipes", "unknown-pipe"),
    ("media", "unknown-media"),
    ("runs", "unknown-run"),
];

impl Checker {
    /// Checks the readable part of a document that has structural problems, and reports those as well. The paths of findings are
    /// pointers into the value of the diagnosis.
    ///
    /// ```
    /// use obvert_check::{Checker, MINIMAL, Settings};
    /// use obvert_model::read::diagnose;
    ///
    /// let wrong = MINIMAL.replacen("\"downstream\": \"LM-015\"", "\"downstream\": 15", 1);
    /// let report = Checker::new(Settings::default())?.check_value(diagnose(wrong.as_bytes())?);
    /// assert!(report.findings.iter().any(|finding| finding.rule == "wrong-type"));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    #[must_use]
    pub fn check_value(&self, diagnosis: Diagnosis) -> Report {
        let problems = &diagnosis.problems;
        let misspelt = misspelt(problems);
        let explained: HashSet<usize> = misspelt.values().copied().collect();
        let mut structural = Vec::new();
        for (index, problem) in problems.iter().enumerate().filter(|(index, _)| !explained.contains(index)) {
            let mut finding = report::structural(problem);
            if let Some(missing) = misspelt.get(&index) {
                let help = finding.help.take().unwrap_or_default();
                finding.help = Some(format!("{help} {}", problems[*missing].message));
            }
            structural.push(finding);
        }
        structural.iter_mut().for_each(|finding| bearings::take(finding, &diagnosis.value));
        let pipes: BTreeSet<String> = structural.iter().filter_map(|finding| finding.pipe.clone()).collect();
        let without_rules = unreadable(problems);
        let mut report = match diagnosis.into_remains() {
            None => self.without_rules(&without_rules),
            Some(remains) => {
                let document = &remains.document;
                let runs = &mut Borrowed(document.runs.iter());
                let whole = self.keeping_all().walk(&document.head, runs, &pipes);
                self.without_consequences(whole, &remains)
            }
        };
        self.add_found(&mut report, structural);
        report
    }

    /// What of a report on the readable part holds for the whole, with the places of the whole.
    fn without_consequences(&self, mut whole: Report, remains: &Remains) -> Report {
        let damage = Damage::of(remains);
        let mut document = std::mem::take(&mut whole.documents[0]);
        (document.totals, document.rules) = Default::default();
        let mut by_rule: BTreeMap<String, Vec<Finding>> = BTreeMap::new();
        for mut finding in std::mem::take(&mut whole.findings) {
            finding.path = remains.original(&finding.path);
            // A change is made to the source, whose rows have other numbers.
            finding.fix = finding.fix.filter(|_| remains.in_place());
            if damage.stands(&finding) {
                by_rule.entry(finding.rule.to_string()).or_default().push(finding);
            } else {
                document.withheld += 1;
            }
        }
        if remains.left_out.iter().any(|out| out.pointer == "/id") {
            document.id = None;
        }
        document.left_out = remains.left_out.iter().map(report::LeftOut::new).collect();
        let mut report = self.report_of(document);
        for of_rule in &whole.rules {
            let Some(mut findings) = by_rule.remove(&of_rule.rule) else { continue };
            let total = findings.len();
            findings.truncate(self.keep());
            report.add(&of_rule.rule, of_rule.severity, total, findings);
        }
        report.suppressed = whole.suppressed;
        report.not_run = whole.not_run;
        report.idle = whole.idle;
        for (why, rules) in &damage.not_run {
            let told = |rule: &str| report.not_run.iter().any(|not_run| not_run.rules.iter().any(|name| name == rule));
            let rules: Vec<String> =
                rules.iter().filter(|rule| self.is_on(rule) && !told(rule)).map(|rule| (*rule).to_owned()).collect();
            report.idle.iter_mut().for_each(|idle| idle.rules.retain(|rule| !rules.contains(rule)));
            if !rules.is_empty() {
                report.not_run.push(NotRun { why: why.clone(), rules, documents: vec![0] });
            }
        }
        report.idle.retain(|idle| !idle.rules.is_empty());
        report.sort();
        report
    }
}

/// What was left out, as the rules have to know it.
#[derive(Debug, Default)]
struct Damage {
    /// The rows that lost a value that rules conclude from, or a row of theirs.
    rows: BTreeSet<String>,
    /// Every value that was left out, with the row that it stood in; the empty text for one of the head.
    values: Vec<(String, String)>,
    /// Runs with an observation that lost a value or was left out, by their pointer.
    shaken: BTreeSet<String>,
    /// Runs whose counter was left out, by their pointer.
    uncounted: BTreeSet<String>,
    /// Pipes of which not everything is known: their row, a run or a row of a run is not whole.
    pipes: BTreeSet<String>,
    /// Ids of rows that were left out, by the rule that looks for them.
    ids: BTreeSet<(&'static str, String)>,
    /// Columns of tables that may stand for others, as pointers with `-` for the number of the row.
    columns: Vec<String>,
    /// Tables whose rows have been doubted, and whether those of their lists were.
    doubted: BTreeSet<(String, bool)>,
    /// Rules that are not run, by the reason.
    not_run: BTreeMap<String, BTreeSet<&'static str>>,
}

impl Damage {
    fn of(remains: &Remains) -> Self {
        let mut damage = Self::default();
        for out in &remains.left_out {
            damage.add(out, remains);
        }
        damage
    }

    fn add(&mut self, out: &LeftOut, remains: &Remains) {
        // A column of a table that the format does not have, and that may stand for one that the table lacks.
        if out.kind == ProblemKind::UnknownKey && out.meant.is_none() && out.pointer.contains("/-/") {
            if !out.pointer.starts_with("/-/") {
                self.columns.push(out.pointer.clone());
            }
            return;
        }
        let tokens: Vec<&str> = out.pointer.split('/').skip(1).collect();
        // Whoever writes null or nothing means that there is no value, and there is none; a table is another matter.
        let nothing = out.value.is_null() && out.kind == ProblemKind::NullValue || out.value == "";
        if nothing
            && !matches!(tokens.as_slice(), ["runs", _, "observations"])
            && !(tokens.len() == 1 && is_table(tokens[0]))
        {
            return;
        }
        match tokens.as_slice() {
            // Nobody knows which row it belongs to.
            [table, "-", ..] => {
                self.doubt(table, tokens.get(2) == Some(&"observations"), remains);
                if let Some((_, rules)) = OF_A_ROW.iter().find(|(list, _)| tokens.get(4) == Some(list)) {
                    self.skip(&format!("a row of {} that belongs to no observation was left out", tokens[4]), rules);
                }
            }
            [table] if is_table(table) => self.lose(table, &out.value, &out.pointer, remains),
            [table, row] if is_table(table) && row.parse::<usize>().is_ok() => {
                self.lose(table, &out.value, &out.pointer, remains);
            }
            ["runs", run, "observations"] | ["runs", run, "observations", _] => {
                self.shake(&format!("/runs/{run}"), &out.pointer, remains);
            }
            ["runs", run, "observations", row, ..] => {
                let row = format!("/runs/{run}/observations/{row}");
                if self.touch(&row, out) {
                    self.shake(&format!("/runs/{run}"), &out.pointer, remains);
                }
            }
            ["runs", run, ..] => {
                let row = format!("/runs/{run}");
                if self.touch(&row, out) {
                    self.pipes.extend(pipe_of(remains, &row));
                    if tokens.get(2) == Some(&"counter") || out.meant.as_deref() == Some("counter") {
                        self.uncounted.insert(row);
                    }
                }
            }
            [table, row, ..] if is_table(table) => {
                let row = format!("/{table}/{row}");
                if self.touch(&row, out) && *table == "pipes" {
                    self.pipes.extend(id_of(remains, &row));
                } else if *table == "media" {
                    self.skip(&format!("{} was left out", out.pointer), &["run-media-missing"]);
                }
            }
            _ => {
                self.values.push((String::new(), out.pointer.clone()));
                self.head(out);
            }
        }
    }

    /// A value of the head: what rules look for it, and what rules cannot do without it.
    fn head(&mut self, out: &LeftOut) {
        let key = out.meant.as_deref().or_else(|| out.pointer.split('/').nth(1)).unwrap_or_default();
        let (rule, need) = match key {
            "crs" => ("crs-missing", Some(Need::Crs)),
            "vertical" => ("vertical-missing", None),
            "grading" => ("grade-without-scheme", Some(Need::Grades)),
            "issued" => {
                return self.skip("/issued could not be read", &["issued-before-run", "review-date-implausible"]);
            }
            "id" => return self.skip("/id could not be read", &["revises-itself"]),
            _ => return,
        };
        let needs = |known: &&&'static Rule| known.name == rule || need.is_some_and(|need| known.needs.contains(&need));
        let rules: Vec<&'static str> = catalogue().iter().filter(needs).map(|known| known.name).collect();
        self.skip(&format!("{} could not be read", out.pointer), &rules);
    }

    /// A row that lost a value; `false` where nothing else follows from the value.
    fn touch(&mut self, row: &str, out: &LeftOut) -> bool {
        self.values.push((row.to_owned(), out.pointer.clone()));
        let key = match out.kind {
            // Under another name nobody misses it, unless it is the name of a field, misspelt.
            ProblemKind::UnknownKey => match &out.meant {
                Some(meant) => meant.as_str(),
                None => return false,
            },
            _ => out.pointer[row.len()..].split('/').nth(1).unwrap_or_default(),
        };
        let concluded = !PLAIN.contains(&key);
        if concluded {
            self.rows.insert(row.to_owned());
        }
        concluded
    }

    /// A run that is not whole.
    fn shake(&mut self, run: &str, why: &str, remains: &Remains) {
        self.pipes.extend(pipe_of(remains, run));
        self.shaken.insert(run.to_owned());
        self.skip_table("observations", why);
    }

    /// A row that belongs to some row of a table: none of those is known to be whole.
    fn doubt(&mut self, table: &str, observations: bool, remains: &Remains) {
        if !self.doubted.insert((table.to_owned(), observations)) {
            return;
        }
        let (runs, pipes) = (remains.document.runs.len(), remains.document.head.pipes.len());
        match table {
            "runs" => {
                for run in (0..runs).map(|run| remains.original(&format!("/runs/{run}"))) {
                    self.shake(&run, "a row that belongs to no run", remains);
                    if !observations {
                        self.uncounted.insert(run.clone());
                        self.rows.insert(run);
                    }
                }
            }
            "pipes" => {
                for pipe in (0..pipes).map(|pipe| remains.original(&format!("/pipes/{pipe}"))) {
                    self.pipes.extend(id_of(remains, &pipe));
                    self.rows.insert(pipe);
                }
            }
            _ => {}
        }
    }

    /// A row of one of the document's tables is gone, or the table is.
    fn lose(&mut self, table: &str, value: &Value, pointer: &str, remains: &Remains) {
        self.skip_table(table, pointer);
        if table == "runs" {
            match value.get("pipe").and_then(Value::as_str) {
                Some(pipe) => {
                    self.pipes.insert(pipe.to_owned());
                }
                None => self.skip(&format!("{pointer} was left out"), OF_A_PIPE),
            }
        }
        let Some((_, rule)) = REFERENCES.iter().find(|(of, _)| *of == table) else { return };
        let head = &remains.document.head;
        let empty = match table {
            "parties" => head.parties.is_empty(),
            "equipment" => head.equipment.is_empty(),
            "structures" => head.structures.is_empty(),
            "pipes" => head.pipes.is_empty(),
            "media" => head.media.is_empty(),
            _ => remains.document.runs.is_empty(),
        };
        match value.get("id").and_then(Value::as_str).filter(|_| !empty) {
            Some(id) => {
                self.ids.insert((rule, id.to_owned()));
            }
            None => self.skip(&format!("{pointer} was left out"), &[rule]),
        }
    }

    fn skip_table(&mut self, table: &str, pointer: &str) {
        if let Some((_, rules)) = OF_A_TABLE.iter().find(|(of, _)| *of == table) {
            self.skip(&format!("{pointer} was left out"), rules);
        }
    }

    fn skip(&mut self, why: &str, rules: &[&'static str]) {
        let told: BTreeSet<&'static str> = self.not_run.values().flatten().copied().collect();
        let fresh = rules.iter().filter(|rule| !told.contains(**rule));
        let fresh: Vec<&'static str> = fresh.copied().collect();
        if !fresh.is_empty() {
            self.not_run.entry(why.to_owned()).or_default().extend(fresh);
        }
    }

    /// Whether a finding holds whatever was left out.
    fn stands(&self, finding: &Finding) -> bool {
        let rule = &*finding.rule;
        if self.not_run.values().any(|rules| rules.contains(rule)) {
            return false;
        }
        let named = finding.params.get("id").and_then(Value::as_str).unwrap_or_default();
        if self.ids.iter().any(|(of, id)| *of == rule && id == named) {
            return false;
        }
        let row = row_of(&finding.path);
        if self.rows.contains(row) || self.values.iter().any(|(of, value)| of == row && lies_on(&finding.path, value)) {
            return false;
        }
        if self.columns.iter().any(|column| lies_in_some_row(&finding.path, column)) {
            return false;
        }
        let run = run_of(&finding.path);
        let check = find(rule).map(|rule| rule.check);
        if self.uncounted.contains(run) && find(rule).is_some_and(|rule| rule.family() == "distance") {
            return false;
        }
        // Of a run that is not whole only single rows are spoken of.
        let of_a_run = matches!(check, Some(Check::Run(_))) || rule == "connection-contradicts-lateral";
        if self.shaken.contains(run) && of_a_run {
            return false;
        }
        let of_a_pipe = matches!(check, Some(Check::Ending(_) | Check::Rating(_) | Check::Locate(_)));
        let pipe_unsure = finding.pipe.as_ref().is_some_and(|pipe| self.pipes.contains(pipe));
        !(of_a_pipe && pipe_unsure)
    }
}

/// Keys that the format does not have, each with the problem of the missing one that it seems to be: that is one mistake.
fn misspelt(problems: &[Problem]) -> HashMap<usize, usize> {
    let mut missing: HashMap<(&str, &str), usize> = HashMap::new();
    for (index, problem) in problems.iter().enumerate() {
        if let (ProblemKind::MissingKey, Some(key)) = (problem.kind, &problem.key) {
            missing.entry((&problem.pointer, key)).or_insert(index);
        }
    }
    let unknown = problems.iter().enumerate().filter(|(_, problem)| problem.kind == ProblemKind::UnknownKey);
    let pairs = unknown.filter_map(|(index, problem)| {
        let (object, _) = problem.pointer.rsplit_once('/')?;
        Some((index, *missing.get(&(object, problem.suggestion.as_deref()?))?))
    });
    pairs.collect()
}

/// Why nothing is left of a document: what no rule can do without could not be read.
fn unreadable(problems: &[Problem]) -> String {
    const HEAD: [&str; 3] = ["/obvert", "/units", "/coding"];
    let heads = |problem: &&Problem| HEAD.iter().any(|head| lies_on(head, &problem.pointer));
    match problems.iter().find(heads) {
        Some(problem) => format!("{} could not be read, and no rule can do without it", problem.pointer),
        None => WITHOUT_STRUCTURE.to_owned(),
    }
}

/// Whether a path leads to a value or to what held it.
fn lies_on(path: &str, value: &str) -> bool {
    value.strip_prefix(path).is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
}

/// Whether a path leads to a column of some row, which is a pointer with `-` for the numbers of rows, or to the row.
fn lies_in_some_row(path: &str, column: &str) -> bool {
    if path.split('/').count() + 1 < column.split('/').count() {
        return false;
    }
    let mut tokens = column.split('/');
    path.split('/').all(|token| {
        tokens.next().is_some_and(|of| of == token || of == "-" && token.bytes().all(|byte| byte.is_ascii_digit()))
    })
}

fn is_table(name: &str) -> bool {
    matches!(name, "parties" | "equipment" | "structures" | "pipes" | "media" | "locates" | "ratings" | "runs")
}

/// The row that a path leads into: an observation, a run, a row of another table; the empty text in the head.
fn row_of(path: &str) -> &str {
    let tokens: Vec<&str> = path.split('/').skip(1).take(4).collect();
    let depth = match tokens.as_slice() {
        ["runs", _, "observations", _] => 4,
        [table, _, ..] if is_table(table) => 2,
        _ => 0,
    };
    ahead(path, depth)
}

/// The run that a path leads into; the whole path where it leads into none.
fn run_of(path: &str) -> &str {
    if path.starts_with("/runs/") { ahead(path, 2) } else { path }
}

/// The first tokens of a path.
fn ahead(path: &str, tokens: usize) -> &str {
    path.match_indices('/').nth(tokens).map_or(if tokens == 0 { "" } else { path }, |(end, _)| &path[..end])
}

/// The pipe of a run that is still there, by the run's pointer in the source.
fn pipe_of(remains: &Remains, run: &str) -> Option<String> {
    let runs = &remains.document.runs;
    left(remains, "runs", run, runs.len()).map(|index| runs[index].pipe.to_string())
}

/// The id of a pipe that is still there, by its pointer in the source.
fn id_of(remains: &Remains, pipe: &str) -> Option<String> {
    let pipes = &remains.document.head.pipes;
    left(remains, "pipes", pipe, pipes.len()).map(|index| pipes[index].id.to_string())
}

/// Which of the rows of a table that are still there is the one at a pointer in the source. Rows keep their order when others are taken
/// out, and a table can have lost as many as it has, so that looking through them one by one would take the square of that.
fn left(remains: &Remains, table: &str, row: &str, rows: usize) -> Option<usize> {
    let number = |pointer: &str| pointer.rsplit('/').next().and_then(|number| number.parse::<usize>().ok());
    let wanted = number(row)?;
    let (mut from, mut to) = (0, rows);
    while from < to {
        let middle = from + (to - from) / 2;
        match number(&remains.original(&format!("/{table}/{middle}")))?.cmp(&wanted) {
            std::cmp::Ordering::Less => from = middle + 1,
            std::cmp::Ordering::Equal => return Some(middle),
            std::cmp::Ordering::Greater => to = middle,
        }
    }
    None
}
