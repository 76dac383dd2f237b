//! What people call the columns of a survey, in English and German and a little French, Dutch and Spanish: words that the trade and its
//! offices use, of no one office. A heading is taken apart into words, without accents and units, and held against them.

/// What a column can hold, with the kind of its values and the words for it. A phrase matches where all of its words stand in the heading.
pub(super) struct Target {
    /// The field, or a role of its own: `codes`, `codes.detail`, `stretch`.
    pub(super) to: &'static str,
    /// Which look the values must have.
    pub(super) wants: Wants,
    /// What it is in words, for the reason.
    pub(super) is: &'static str,
    pub(super) phrases: &'static [&'static str],
}

/// What the values of a column must look like.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Wants {
    Text,
    /// Few different words.
    Word,
    Number,
    /// A number, a station, or feet and inches.
    Distance,
    /// A number or an amount with its unit.
    Amount,
    /// A date, a time of day, or both.
    Moment,
    Clock,
    Hour,
    Yes,
    Grade,
    Picture,
    Recording,
    Offset,
    Stretch,
    Letters,
    Year,
}

const fn target(to: &'static str, wants: Wants, is: &'static str, phrases: &'static [&'static str]) -> Target {
    Target { to, wants, is, phrases }
}

/// Everything that a draft can find, the more special before the more general.
pub(super) const TARGETS: &[Target] = &[
    target(
        "runs.from",
        Wants::Text,
        "where the camera began",
        &[
            "from mh",
            "from manhole",
            "from node",
            "from structure",
            "from point",
            "from access",
            "from",
            "start mh",
            "start manhole",
            "start node",
            "begin manhole",
            "von schacht",
            "von knoten",
            "startschacht",
            "startknoten",
            "anfangsschacht",
            "anfangspunkt",
            "beginn schacht",
            "regard depart",
            "van put",
            "pozo inicio",
        ],
    ),
    target(
        "runs.to",
        Wants::Text,
        "where the camera went",
        &[
            "to mh",
            "to manhole",
            "to node",
            "to structure",
            "to point",
            "to access",
            "to",
            "end mh",
            "end manhole",
            "end node",
            "finish manhole",
            "finish node",
            "bis schacht",
            "nach schacht",
            "endschacht",
            "zielschacht",
            "endknoten",
            "endpunkt",
            "regard arrivee",
            "naar put",
            "pozo fin",
        ],
    ),
    target(
        "pipes.upstream",
        Wants::Text,
        "the upstream end",
        &[
            "upstream",
            "upstream mh",
            "upstream manhole",
            "upstream node",
            "upper manhole",
            "us mh",
            "us node",
            "up mh",
            "schacht oben",
            "oberer schacht",
            "schacht oberhalb",
            "knoten oben",
            "zulaufschacht",
            "regard amont",
            "amont",
            "bovenstrooms",
            "aguas arriba",
        ],
    ),
    target(
        "pipes.downstream",
        Wants::Text,
        "the downstream end",
        &[
            "downstream",
            "downstream mh",
            "downstream manhole",
            "downstream node",
            "lower manhole",
            "ds mh",
            "ds node",
            "down mh",
            "schacht unten",
            "unterer schacht",
            "schacht unterhalb",
            "knoten unten",
            "ablaufschacht",
            "regard aval",
            "aval",
            "benedenstrooms",
            "aguas abajo",
        ],
    ),
    target(
        "pipes.inverts.upstream",
        Wants::Number,
        "the upstream invert",
        &["upstream invert", "invert up", "invert upstream", "sohle oben", "sohlhohe oben"],
    ),
    target(
        "pipes.inverts.downstream",
        Wants::Number,
        "the downstream invert",
        &["downstream invert", "invert down", "invert downstream", "sohle unten", "sohlhohe unten"],
    ),
    target(
        "runs.id",
        Wants::Text,
        "what names the run",
        &[
            "run",
            "run no",
            "run id",
            "sheet",
            "sheet no",
            "inspection",
            "inspection no",
            "inspection id",
            "survey",
            "survey no",
            "survey id",
            "untersuchung",
            "inspektion",
            "inspektionsnummer",
            "befahrung",
            "blatt",
            "laufnummer",
        ],
    ),
    target(
        "pipes.id",
        Wants::Text,
        "what names the pipe",
        &[
            "pipe",
            "pipe no",
            "pipe id",
            "pipe ref",
            "pipe reference",
            "line",
            "line no",
            "line id",
            "sewer",
            "section",
            "section no",
            "segment",
            "reach",
            "asset",
            "asset id",
            "leitung",
            "leitungsnummer",
            "haltung",
            "haltungsnummer",
            "haltungsname",
            "kanal",
            "strang",
            "abschnitt",
            "troncon",
            "collecteur",
            "leiding",
            "streng",
            "tramo",
            "colector",
        ],
    ),
    target(
        "runs.direction",
        Wants::Word,
        "which way the camera went",
        &[
            "direction",
            "dir",
            "flow",
            "way",
            "survey direction",
            "direction of survey",
            "richtung",
            "fliessrichtung",
            "inspektionsrichtung",
            "untersuchungsrichtung",
            "befahrungsrichtung",
            "sens",
            "richting",
            "sentido",
        ],
    ),
    target(
        "pipes.width",
        Wants::Amount,
        "the pipe's width",
        &["width", "pipe width", "breite", "profilbreite", "largeur", "breedte", "ancho"],
    ),
    target(
        "pipes.height",
        Wants::Amount,
        "the pipe's size",
        &[
            "dia",
            "diam",
            "diameter",
            "pipe size",
            "size",
            "bore",
            "height",
            "pipe height",
            "dn",
            "nominal diameter",
            "durchmesser",
            "nennweite",
            "rohrdurchmesser",
            "hohe",
            "profilhohe",
            "diametre",
            "doorsnede",
            "diametro",
        ],
    ),
    target(
        "pipes.material",
        Wants::Word,
        "the pipe's material",
        &["material", "mat", "pipe material", "werkstoff", "rohrmaterial", "baustoff", "materiau", "materiaal"],
    ),
    target(
        "pipes.length",
        Wants::Amount,
        "the pipe's length",
        &[
            "length",
            "pipe length",
            "total length",
            "as built",
            "as built length",
            "asbuilt",
            "section length",
            "len",
            "lange",
            "haltungslange",
            "leitungslange",
            "gesamtlange",
            "longueur",
            "lengte",
            "longitud",
        ],
    ),
    target(
        "pipes.street",
        Wants::Text,
        "the street",
        &["street", "street name", "road", "address", "location", "strasse", "strassenname", "rue", "straat", "calle"],
    ),
    target(
        "pipes.laid",
        Wants::Year,
        "the year it was laid",
        &["year", "year laid", "laid", "built", "baujahr", "annee"],
    ),
    target(
        "runs.started",
        Wants::Moment,
        "when it began",
        &[
            "date",
            "time",
            "start",
            "started",
            "start time",
            "start date",
            "date time",
            "inspected",
            "survey date",
            "inspection date",
            "surveyed",
            "when",
            "datum",
            "zeit",
            "uhrzeit",
            "beginn",
            "inspektionsdatum",
            "startzeit",
            "heure",
            "fecha",
            "hora",
            "tijd",
        ],
    ),
    target(
        "runs.observations.media.offset",
        Wants::Offset,
        "how far into the recording",
        &[
            "video",
            "film",
            "video time",
            "vid time",
            "vid",
            "video position",
            "tape",
            "tape position",
            "timecode",
            "time code",
            "counter",
            "offset",
            "elapsed",
            "videozeit",
            "filmzeit",
            "videostand",
            "videozahler",
            "zahlerstand",
            "bandstelle",
        ],
    ),
    target(
        "runs.observations.media.id",
        Wants::Recording,
        "the file of the recording",
        &["video", "film", "movie", "video file", "videodatei", "filmdatei", "clip"],
    ),
    target(
        "runs.observations.media.id",
        Wants::Picture,
        "the file of a picture",
        &[
            "still",
            "stills",
            "photo",
            "photos",
            "picture",
            "pictures",
            "image",
            "images",
            "img",
            "pic",
            "photo file",
            "photo no",
            "image file",
            "bild",
            "bilder",
            "foto",
            "fotos",
            "bilddatei",
            "lichtbild",
            "imagen",
            "afbeelding",
        ],
    ),
    target(
        "stretch",
        Wants::Stretch,
        "where a stretch begins and ends",
        &[
            "stretch",
            "continuous",
            "continuous defect",
            "cont",
            "running",
            "strecke",
            "streckenschaden",
            "kontinuierlich",
            "tramo continuo",
            "continu",
        ],
    ),
    target(
        "runs.observations.clock",
        Wants::Clock,
        "the clock position",
        &[
            "clock",
            "clk",
            "clock position",
            "clock ref",
            "position",
            "uhr",
            "uhrlage",
            "lage",
            "umfang",
            "lage am umfang",
            "horaire",
        ],
    ),
    target(
        "runs.observations.clock.from",
        Wants::Hour,
        "the clock position from",
        &[
            "clock from",
            "clk from",
            "clock at",
            "clock start",
            "position from",
            "clock 1",
            "lage von",
            "uhr von",
            "uhrlage von",
            "umfang von",
        ],
    ),
    target(
        "runs.observations.clock.to",
        Wants::Hour,
        "the clock position to",
        &[
            "clock to",
            "clk to",
            "clock end",
            "position to",
            "clock 2",
            "lage bis",
            "uhr bis",
            "uhrlage bis",
            "umfang bis",
        ],
    ),
    target(
        "runs.observations.at",
        Wants::Distance,
        "the distance",
        &[
            "station",
            "stationing",
            "distance",
            "dist",
            "chainage",
            "footage",
            "meterage",
            "metres",
            "meters",
            "feet",
            "at",
            "stationierung",
            "entfernung",
            "abstand",
            "position",
            "afstand",
            "distancia",
            "metrage",
        ],
    ),
    target(
        "runs.observations.joint",
        Wants::Yes,
        "whether it is at a joint",
        &[
            "joint",
            "at joint",
            "at a joint",
            "verbindung",
            "rohrverbindung",
            "an verbindung",
            "muffe",
            "assemblage",
            "verbinding",
            "junta",
        ],
    ),
    target(
        "runs.observations.grades",
        Wants::Grade,
        "the grade",
        &[
            "grade",
            "condition grade",
            "severity",
            "sev",
            "rating",
            "class",
            "note",
            "klasse",
            "schadensklasse",
            "zustandsklasse",
            "bewertung",
            "gravite",
            "ernst",
            "gravedad",
        ],
    ),
    target(
        "runs.observations.quantities.value",
        Wants::Amount,
        "an amount",
        &[
            "amount",
            "quantity",
            "quant",
            "qty",
            "q",
            "value",
            "percent",
            "percentage",
            "loss",
            "extent",
            "dimension",
            "menge",
            "quantifizierung",
            "wert",
            "prozent",
            "mass",
            "ausmass",
            "quantite",
            "cantidad",
            "hoeveelheid",
        ],
    ),
    target(
        "codes",
        Wants::Text,
        "what was seen",
        &[
            "code",
            "kode",
            "observation",
            "obs",
            "observation code",
            "defect",
            "defect code",
            "feature",
            "finding",
            "condition",
            "seen",
            "what",
            "event",
            "kurzel",
            "schaden",
            "schadenskode",
            "feststellung",
            "beobachtung",
            "zustand",
            "merkmal",
            "observacion",
            "waarneming",
            "constat",
        ],
    ),
    target(
        "runs.observations.characterisation",
        Wants::Letters,
        "a characterisation",
        &[
            "ch",
            "char",
            "characterisation",
            "characterization",
            "charakterisierung",
            "caracterisation",
            "karakterisering",
        ],
    ),
    target(
        "codes.detail",
        Wants::Word,
        "what was seen, in more detail",
        &[
            "detail",
            "details",
            "type",
            "kind",
            "descriptor",
            "modifier",
            "subtype",
            "art",
            "typ",
            "zusatz",
            "auspragung",
        ],
    ),
    target(
        "runs.observations.remark",
        Wants::Text,
        "a remark",
        &[
            "comment",
            "comments",
            "remark",
            "remarks",
            "rem",
            "note",
            "notes",
            "text",
            "bemerkung",
            "bemerkungen",
            "anmerkung",
            "kommentar",
            "remarque",
            "opmerking",
            "observaciones",
            "comentario",
        ],
    ),
    target(
        "runs.operator",
        Wants::Text,
        "who operated the camera",
        &[
            "crew",
            "operator",
            "inspector",
            "surveyor",
            "team",
            "surveyed by",
            "inspected by",
            "by",
            "bediener",
            "inspekteur",
            "kolonne",
            "techniker",
            "bearbeiter",
            "operateur",
            "operador",
            "inspecteur",
        ],
    ),
    target(
        "assignment.contract",
        Wants::Text,
        "the contract",
        &[
            "contract",
            "contract no",
            "job",
            "job no",
            "order",
            "work order",
            "project",
            "auftrag",
            "auftragsnummer",
            "projekt",
        ],
    ),
];

/// Words of units, which say nothing of what is measured, with the unit; none for a share.
pub(super) const UNITS: &[(&str, &str)] = &[
    ("mm", "mm"),
    ("millimetres", "mm"),
    ("millimeter", "mm"),
    ("in", "in"),
    ("inch", "in"),
    ("inches", "in"),
    ("zoll", "in"),
    ("m", "m"),
    ("metres", "m"),
    ("meters", "m"),
    ("meter", "m"),
    ("ft", "ft"),
    ("feet", "ft"),
    ("foot", "ft"),
    ("percent", "percent"),
    ("pct", "percent"),
    ("prozent", "percent"),
    ("deg", "degrees"),
    ("grad", "degrees"),
];

/// Words for materials. The first word of a text that is here decides; the longer before the shorter.
pub(super) const MATERIALS: &[(&str, &str)] = &[
    ("stahlbeton", "reinforced-concrete"),
    ("reinforced concrete", "reinforced-concrete"),
    ("rcp", "reinforced-concrete"),
    ("asbestos", "asbestos-cement"),
    ("asbestzement", "asbestos-cement"),
    ("faserzement", "asbestos-cement"),
    ("vitrified", "vitrified-clay"),
    ("vcp", "vitrified-clay"),
    ("clay", "vitrified-clay"),
    ("steinzeug", "vitrified-clay"),
    ("gres", "vitrified-clay"),
    ("concrete", "concrete"),
    ("beton", "concrete"),
    ("hormigon", "concrete"),
    ("brick", "brick"),
    ("mauerwerk", "brick"),
    ("masonry", "brick"),
    ("stone", "stone"),
    ("pvc", "pvc"),
    ("polyethylene", "polyethylene"),
    ("hdpe", "polyethylene"),
    ("pe", "polyethylene"),
    ("polypropylene", "polypropylene"),
    ("pp", "polypropylene"),
    ("abs", "abs"),
    ("grp", "glass-reinforced-plastic"),
    ("gfk", "glass-reinforced-plastic"),
    ("ductile", "ductile-iron"),
    ("cast iron", "cast-iron"),
    ("grauguss", "cast-iron"),
    ("guss", "cast-iron"),
    ("ci", "cast-iron"),
    ("steel", "steel"),
    ("stahl", "steel"),
];

/// Words for the two directions.
pub(super) const DIRECTIONS: &[(&str, &str)] = &[
    ("downstream", "downstream"),
    ("upstream", "upstream"),
    ("with", "downstream"),
    ("against", "upstream"),
    ("down", "downstream"),
    ("up", "upstream"),
    ("gegen", "upstream"),
    ("in fliessrichtung", "downstream"),
    ("mit", "downstream"),
    ("in", "downstream"),
    ("d", "downstream"),
    ("u", "upstream"),
    ("aval", "downstream"),
    ("amont", "upstream"),
];

/// Words for yes and no.
pub(super) const YES: &[(&str, bool)] = &[
    ("y", true),
    ("yes", true),
    ("true", true),
    ("x", true),
    ("1", true),
    ("j", true),
    ("ja", true),
    ("oui", true),
    ("si", true),
    ("n", false),
    ("no", false),
    ("false", false),
    ("0", false),
    ("nein", false),
    ("nee", false),
    ("non", false),
];

/// Words of offices for words of the code list.
const SAME: &[(&str, &str)] = &[
    ("abandoned", "stopped"),
    ("end", "finish"),
    ("begin", "start"),
    ("cracks", "crack"),
    ("fractures", "fracture"),
    ("root", "roots"),
    ("deposits", "deposit"),
    ("bricks", "brick"),
    ("displacement", "displaced"),
    ("joints", "joint"),
    ("branch", "connection"),
];

/// A text as words: lower case, without accents, cut where letters, digits and capitals change.
pub(super) fn words(text: &str) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    let mut before = None;
    for letter in text.chars() {
        let class = if letter.is_ascii_digit() {
            'd'
        } else if letter.is_alphabetic() {
            'a'
        } else {
            ' '
        };
        let new = match before {
            None => true,
            Some((was, lower)) => was != class || lower && letter.is_uppercase(),
        };
        if class == ' ' {
            before = None;
            if letter == '%' {
                found.push("percent".to_owned());
            }
            continue;
        }
        if new {
            found.push(String::new());
        }
        before = Some((class, letter.is_lowercase()));
        let Some(last) = found.last_mut() else { continue };
        for lower in letter.to_lowercase() {
            match lower {
                'ä' | 'à' | 'á' | 'â' => last.push('a'),
                'ö' | 'ó' | 'ô' => last.push('o'),
                'ü' | 'ú' | 'û' => last.push('u'),
                'é' | 'è' | 'ê' | 'ë' => last.push('e'),
                'í' | 'î' | 'ï' => last.push('i'),
                'ñ' => last.push('n'),
                'ç' => last.push('c'),
                'ß' => last.push_str("ss"),
                other => last.push(other),
            }
        }
    }
    found
}

/// A word of an office as the code list has it.
pub(super) fn known(word: &str) -> &str {
    SAME.iter().find(|(own, _)| *own == word).map_or(word, |(_, other)| other)
}

/// How well a heading names a target, from 0 to 1: how much of the heading the best phrase covers.
pub(super) fn named(heading: &[String], target: &Target) -> f64 {
    // An abbreviation for "number" says that it is an id and no more.
    let bare: Vec<&String> = heading
        .iter()
        .filter(|word| {
            !UNITS.iter().any(|(unit, _)| unit == word)
                && !["no", "nr", "id", "number", "nummer"].contains(&word.as_str())
        })
        .collect();
    // A heading of units and numbers alone is all there is.
    let words: Vec<&String> = if bare.is_empty() { heading.iter().collect() } else { bare };
    let all = words.iter().filter(|word| !word.bytes().all(|byte| byte.is_ascii_digit())).count().max(1);
    let best = target.phrases.iter().map(|phrase| {
        let wanted: Vec<&str> = phrase.split(' ').collect();
        let is = |own: &str, wanted: &str| {
            // German writes words together: the last part says what it is.
            own == wanted || wanted.len() > 4 && own.len() > wanted.len() && own.ends_with(wanted)
        };
        let covered = wanted.iter().filter(|wanted| heading.iter().any(|own| is(own, wanted))).count();
        if covered < wanted.len() {
            return 0.0;
        }
        let of_heading = words.iter().filter(|own| wanted.iter().any(|wanted| is(own, wanted))).count();
        let exact = wanted.iter().all(|wanted| heading.iter().any(|own| own == wanted));
        #[allow(clippy::cast_precision_loss)]
        let share = of_heading as f64 / all as f64;
        share.min(1.0) * if exact { 1.0 } else { 0.9 }
    });
    best.fold(0.0, f64::max)
}
