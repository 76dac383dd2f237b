//! Documents made with the constructors: any document that the public interface accepts is
//! written and read back equal, or refused for a duplicate id.

use std::collections::BTreeSet;
use std::fmt::Debug;
use std::str::FromStr;

use obvert_model::extension::{Extensions, Json};
use obvert_model::number::{Bytes, Count, Grade, LARGEST, Number, Position, Year};
use obvert_model::read::{self, ReadError};
use obvert_model::shape::{self, ObjectShape};
use obvert_model::tables::*;
use obvert_model::text::ExtensionKey;
use obvert_model::write::{self, WriteError};
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};

/// Draws values that a caller could pass.
struct Draw(TestRng);

impl Draw {
    fn below(&mut self, limit: usize) -> usize {
        self.0.next_u64() as usize % limit
    }

    fn coin(&mut self) -> bool {
        self.0.next_u32().is_multiple_of(2)
    }

    fn pick<T: Copy>(&mut self, all: &[T]) -> T {
        all[self.below(all.len())]
    }

    /// A number that the type accepts; rejected numbers are tried as well.
    fn number<T: TryFrom<f64>>(&mut self) -> T {
        loop {
            let value = match self.below(5) {
                0 => f64::from_bits(self.0.next_u64()),
                1 => self.pick(&[
                    f64::NAN,
                    f64::INFINITY,
                    -0.0,
                    5e-324,
                    LARGEST,
                    -LARGEST,
                    LARGEST + 1.0,
                    1e-6,
                    0.1 + 0.2,
                ]),
                2 => f64::from(self.0.next_u32()),
                _ => f64::from(self.0.next_u32() as i32) / 100.0,
            };
            if let Ok(number) = T::try_from(value) {
                return number;
            }
        }
    }

    fn text<T: FromStr>(&mut self) -> T {
        loop {
            let length = self.below(6);
            let any = [
                'a', 'B', '7', ' ', '-', '.', '"', '\\', '/', '\u{0}', '\n', '\u{7f}', 'é',
                '\u{2028}', '\u{feff}', '🚰',
            ];
            let text: String = (0..length).map(|_| self.pick(&any)).collect();
            if let Ok(text) = text.parse() {
                return text;
            }
        }
    }

    /// An id, from so few that duplicates occur.
    fn id<T: FromStr<Err: Debug>>(&mut self) -> T {
        format!("id-{}", self.below(400)).parse().unwrap()
    }

    fn form<T: FromStr<Err: Debug>>(&mut self, forms: &[&str]) -> T {
        self.pick(forms).parse().unwrap()
    }

    fn moment<T: FromStr<Err: Debug>>(&mut self) -> T {
        self.form(&[
            "2026-05-06T16:20:00-05:00",
            "2024-02-29T23:59:60.123456789Z",
            "2026-02-31T00:00:00+00:00",
        ])
    }

    fn position(&mut self) -> Position {
        Position::new(self.number::<Number>().get(), self.number::<Number>().get()).unwrap()
    }

    fn list<T>(&mut self, mut item: impl FnMut(&mut Self) -> T) -> Vec<T> {
        let length = self.below(4);
        (0..length).map(|_| item(self)).collect()
    }

    fn json(&mut self, deep: usize) -> Json {
        match self.below(if deep == 0 { 4 } else { 6 }) {
            0 => Json::Null,
            1 => Json::Bool(self.coin()),
            2 => Json::Number(self.number()),
            3 => Json::String(self.pick(&["", "a", "\u{0}", "é\""]).into()),
            4 => Json::Array(self.list(|draw| draw.json(deep - 1))),
            _ => Json::Object(
                self.list(|draw| {
                    (draw.pick(&["", "a", "b/~", "é"]).to_owned(), draw.json(deep - 1))
                })
                .into_iter()
                .collect(),
            ),
        }
    }

    fn extensions(&mut self) -> Extensions {
        let mut entries = self.list(|draw| {
            (draw.form::<ExtensionKey>(&["org.example", "a.b-c", "com.example.x9"]), draw.json(3))
        });
        entries.push(("org.example.last".parse().unwrap(), self.json(3)));
        Extensions::new(entries).unwrap()
    }
}

/// Calls each setter or not; all have `extensions`.
macro_rules! fill {
    ($draw:ident, $row:expr, $($set:ident = $value:expr),* $(,)?) => {{
        let mut row = $row;
        $(if $draw.coin() { row = row.$set($value); })*
        if $draw.below(8) == 0 { row = row.with_extensions($draw.extensions()); }
        row
    }};
}

fn joins(d: &mut Draw) -> Joins {
    fill!(d, Joins::new(d.text()), with_at = d.number(), with_clock = d.number())
}

fn structure(d: &mut Draw) -> Structure {
    fill!(
        d,
        Structure::new(d.id(), d.pick(StructureKind::ALL)),
        with_kind_text = d.text(),
        with_position = d.position(),
        with_ground = d.number(),
        with_invert = d.number(),
        with_depth = d.number(),
        with_street = d.text(),
        with_asset = d.text()
    )
}

fn pipe(d: &mut Draw) -> Pipe {
    fill!(
        d,
        Pipe::new(d.id(), d.text()),
        with_downstream = d.text(),
        with_joins = joins(d),
        with_carries = d.pick(Carries::ALL),
        with_carries_text = d.text(),
        with_shape = d.pick(Shape::ALL),
        with_shape_text = d.text(),
        with_height = d.number(),
        with_width = d.number(),
        with_size_basis = d.pick(SizeBasis::ALL),
        with_material = d.pick(Material::ALL),
        with_material_text = d.text(),
        with_lining = d.text(),
        with_length = d.number(),
        with_length_between = d.pick(LengthBetween::ALL),
        with_joint_spacing = d.number(),
        with_laid = Year::new(d.below(10_000) as u16).unwrap(),
        with_inverts =
            fill!(d, Inverts::new(), with_upstream = d.number(), with_downstream = d.number()),
        with_path = d.list(Draw::position),
        with_street = d.text(),
        with_asset = d.text()
    )
}

fn party(d: &mut Draw) -> Party {
    fill!(
        d,
        Party::new(d.id(), d.text()),
        with_role = d.pick(PartyRole::ALL),
        with_role_text = d.text(),
        with_member_of = d.text(),
        with_certificate = d.text(),
        with_contact = d.text()
    )
}

fn equipment(d: &mut Draw) -> Equipment {
    fill!(
        d,
        Equipment::new(d.id(), d.pick(EquipmentKind::ALL)),
        with_kind_text = d.text(),
        with_model = d.text(),
        with_serial = d.text(),
        with_counter_resolution = d.number(),
        with_calibrated = d.form(&["2026-05-06", "0000-02-31"]),
        with_cable_length = d.number(),
        with_frequency = d.number(),
        with_transmitter_offset = d.number()
    )
}

fn media(d: &mut Draw) -> Media {
    fill!(
        d,
        Media::new(d.id(), d.text(), d.pick(MediaKind::ALL)),
        with_media_type = d.form(&["image/jpeg", "video/mp4"]),
        with_bytes = Bytes::new(d.0.next_u64() >> 11).unwrap(),
        with_sha256 = d.form(&[&"0a".repeat(32)]),
        with_captured = d.moment(),
        with_duration = d.number(),
        with_frame_rate = d.number(),
        with_rotation = d.number(),
        with_run = d.text(),
        with_at = d.number(),
        with_caption = d.text(),
        with_state = d.pick(MediaState::ALL)
    )
}

fn locate(d: &mut Draw) -> Locate {
    fill!(
        d,
        Locate::new(d.id(), d.text(), d.number()),
        with_position = d.position(),
        with_ground = d.number(),
        with_depth = d.number(),
        with_depth_to = d.pick(DepthTo::ALL),
        with_method = d.pick(LocateMethod::ALL),
        with_method_text = d.text(),
        with_frequency = d.number(),
        with_transmitter_offset = d.number(),
        with_accuracy = d.number(),
        with_depth_accuracy = d.number()
    )
}

fn rating(d: &mut Draw) -> Rating {
    fill!(
        d,
        Rating::new(d.id(), d.text(), d.pick(Aspect::ALL)),
        with_runs = d.list(Draw::text),
        with_peak = d.number(),
        with_total = d.number(),
        with_mean = d.number(),
        with_count = Count::new(d.0.next_u32()),
        with_per_length = d.number()
    )
}

fn observation(d: &mut Draw) -> Observation {
    fill!(
        d,
        Observation::new(d.id(), d.number(), d.text()),
        with_to = d.number(),
        with_continuous = d.coin(),
        with_characterisation = d.list(Draw::text),
        with_quantities =
            d.list(|d| fill!(d, Quantity::new(d.number(), d.pick(QuantityUnit::ALL)),)),
        with_clock = fill!(
            d,
            Clock::new(),
            with_at = d.number(),
            with_from = d.number(),
            with_to = d.number()
        ),
        with_joint = d.coin(),
        with_joins = d.text(),
        with_flow = d.pick(FlowState::ALL),
        with_clear = d.coin(),
        with_grades = fill!(
            d,
            Grades::new(),
            with_structural = Grade::new(d.below(256) as u8),
            with_operational = 3.into()
        ),
        with_remark = d.text(),
        with_media = d.list(|d| fill!(d, MediaRef::new(d.text()), with_offset = d.number()))
    )
}

fn run(d: &mut Draw) -> Run {
    fill!(
        d,
        Run::new(d.id(), d.text(), d.pick(Direction::ALL)),
        with_from = d.text(),
        with_to = d.text(),
        with_method = d.pick(Method::ALL),
        with_method_text = d.text(),
        with_purpose = d.pick(Purpose::ALL),
        with_purpose_text = d.text(),
        with_operator = d.text(),
        with_equipment = d.list(Draw::text),
        with_started = d.moment(),
        with_finished = d.moment(),
        with_preparation = d.pick(Preparation::ALL),
        with_flow_control = d.pick(FlowControl::ALL),
        with_weather = d.pick(Weather::ALL),
        with_weather_text = d.text(),
        with_counter = fill!(
            d,
            Counter::new(d.pick(CounterZero::ALL)),
            with_zero_text = d.text(),
            with_offset = d.number(),
            with_reads = d.number(),
            with_resolution = d.number(),
            with_checks = d.list(|d| fill!(d, CounterCheck::new(d.number(), d.number()),))
        ),
        with_launched = joins(d),
        with_surveyed = d.number(),
        with_outcome = fill!(
            d,
            Outcome::new(d.pick(OutcomeKind::ALL)),
            with_reason = d.pick(StopReason::ALL),
            with_reason_text = d.text()
        ),
        with_reverse_of = d.text(),
        with_remark = d.text(),
        with_observations = d.list(observation)
    )
}

fn head(d: &mut Draw) -> Head {
    let units = fill!(d, Units::new(d.pick(LengthUnit::ALL), d.pick(SectionUnit::ALL)),);
    let coding = fill!(d, Coding::new(d.text(), d.text()),);
    fill!(
        d,
        Head::new(d.text(), d.moment(), units, coding),
        with_schema = d.text(),
        with_language = d.form(&["en", "de-AT"]),
        with_crs = d.form(&["EPSG:6494", "OGC:CRS84"]),
        with_vertical = d.text(),
        with_grading = fill!(d, Grading::new(d.text(), d.text()),),
        with_revises = fill!(
            d,
            Revises::new(d.text()),
            with_digest = d.form(&[&format!("sha-256:{}", "0a".repeat(32))])
        ),
        with_review = fill!(
            d,
            Review::new(d.pick(ReviewStatus::ALL)),
            with_by = d.text(),
            with_at = d.moment(),
            with_note = d.text()
        ),
        with_assignment = fill!(
            d,
            Assignment::new(),
            with_owner = d.text(),
            with_contract = d.text(),
            with_purpose = d.pick(Purpose::ALL),
            with_purpose_text = d.text(),
            with_title = d.text()
        ),
        with_parties = d.list(party),
        with_equipment = d.list(equipment),
        with_structures = d.list(structure),
        with_pipes = d.list(pipe),
        with_media = d.list(media),
        with_locates = d.list(locate),
        with_ratings = d.list(rating)
    )
}

fn document(d: &mut Draw) -> Document {
    Document::new(head(d)).with_runs(d.list(run))
}

fn documents() -> impl Strategy<Value = Document> {
    Just(()).prop_perturb(|(), rng| document(&mut Draw(rng)))
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 256, ..ProptestConfig::default() })]

    #[test]
    fn a_constructed_document_is_written_and_read_back(document in documents()) {
        match write::to_string(&document) {
            Ok(written) => {
                prop_assert_eq!(&read::document(written.as_bytes()).unwrap(), &document);
                let canonical = write::canonical(&document).unwrap();
                prop_assert_eq!(&read::document(&canonical).unwrap(), &document);
            }
            // The writer refuses what the reader refuses, with the same pointers.
            Err(WriteError::Structure(refused)) => {
                let source = serde_json::to_vec(&document).unwrap();
                let error = read::document(&source).unwrap_err();
                let ReadError::Structure(found) = error else { panic!("{error:?}") };
                let pointers = |problems: &[read::Problem]| problems.iter().map(|it| it.pointer.clone()).collect::<BTreeSet<_>>();
                prop_assert_eq!(pointers(&refused), pointers(&found));
            }
            Err(error) => panic!("{error}"),
        }
    }
}

/// The property above covers every field: set a new field there.
#[test]
fn every_field_is_set() {
    fn look(value: &serde_json::Value, object: &ObjectShape, seen: &mut BTreeSet<String>) {
        for (key, value) in value.as_object().unwrap() {
            let field = object.field(key).unwrap();
            seen.insert(format!("{}.{key}", object.name));
            let (shape, items) = match &field.shape {
                shape::Shape::List(shape) => (&**shape, value.as_array().unwrap().as_slice()),
                shape => (shape, std::slice::from_ref(value)),
            };
            if let shape::Shape::Object(name) = shape {
                items.iter().for_each(|item| look(item, shape::object(name), seen));
            }
        }
    }
    let mut runner = TestRunner::new_with_rng(
        Config::default(),
        TestRng::deterministic_rng(RngAlgorithm::ChaCha),
    );
    let mut seen = BTreeSet::new();
    for _ in 0..256 {
        let document = documents().new_tree(&mut runner).unwrap().current();
        look(&serde_json::to_value(document).unwrap(), shape::document(), &mut seen);
    }
    let all: BTreeSet<String> = shape::objects()
        .flat_map(|object| {
            object.fields.iter().map(|field| format!("{}.{}", object.name, field.name))
        })
        .collect();
    assert_eq!(all.difference(&seen).collect::<Vec<_>>(), Vec::<&String>::new());
}

/// A value at the deepest place of a document can be nested up to the limit.
#[test]
fn nesting_ends_before_the_readers_limit() {
    let nested = |depth: usize| (0..depth).fold(Json::Null, |inner, _| Json::Array(vec![inner]));
    let key = || "org.example.deep".parse::<ExtensionKey>().unwrap();
    assert!(Extensions::new([(key(), nested(Extensions::DEEPEST + 1))]).is_err());
    let extensions = Extensions::new([(key(), nested(Extensions::DEEPEST))]).unwrap();
    let draw = &mut Draw(TestRng::deterministic_rng(RngAlgorithm::ChaCha));
    let quantity = Quantity::new(draw.number(), QuantityUnit::Percent).with_extensions(extensions);
    let observation =
        Observation::new(draw.id(), draw.number(), draw.id()).with_quantities([quantity]);
    let run = Run::new(draw.id(), draw.id(), Direction::Upstream).with_observations([observation]);
    let document = Document::new(head(draw)).with_runs([run]);
    let written = write::to_string(&document).unwrap();
    assert_eq!(read::document(written.as_bytes()).unwrap(), document);
}
