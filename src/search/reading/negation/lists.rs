//! The words by which people say that something is not so: common practice, no source.

/// How many words a "no" or "ruled out" reaches, common ones not counted.
pub(super) const REACH: usize = 4;

/// A clause ends where one of these begins.
pub(super) const CLAUSE: &[&str] = &[
    "but", "except", "and", "so", "then", "however", "though", "although", "because", "since",
    "while", "yet", "when", "after", "before", "during", "until", "till", "despite", "still",
];

/// What a "no" before them does not reach past: here what was seen begins.
pub(super) const SEEN_NOW: &[&str] = &[
    "stuck", "hangs", "hanging", "hung", "sits", "stays", "stops", "slow", "only",
];

/// The verb between a thing and the word that rules it out, and adverbs beside it.
pub(super) const IS: &[&str] = &[
    "is",
    "are",
    "was",
    "were",
    "look",
    "looks",
    "looked",
    "seem",
    "seems",
    "seemed",
    "all",
    "both",
    "came",
    "comes",
    "be",
    "been",
    "checked",
    "checks",
    "tested",
    "tests",
    "proved",
    "proven",
    "therefore",
    "definitely",
    "clearly",
    "probably",
    "really",
    "actually",
    "also",
    "already",
    "too",
    "isn",
];

/// After "no", "never" or "without" these say something else than that a thing is absent.
pub(super) const NO_THEN: &[&str] = &[
    "longer",
    "more",
    "less",
    "better",
    "worse",
    "lower",
    "higher",
    "deeper",
    "further",
    "faster",
    "slower",
    "sooner",
    "later",
    "doubt",
    "question",
    "good",
    "matter",
    "idea",
    "way",
    "change",
    "changes",
    "improvement",
    "difference",
    "need",
    "use",
    "luck",
    "joy",
    "success",
    "effect",
    "result",
    "help",
    "hurry",
    "one",
    "go",
    "avail",
    "force",
    "time",
    "reason",
    "warning",
    "it",
    "that",
    "this",
    "we",
    "i",
    "they",
    "he",
    "only",
];

/// Between "not" and the thing.
pub(super) const TO_THE_THING: &[&str] = &[
    "the",
    "a",
    "an",
    "any",
    "our",
    "this",
    "that",
    "my",
    "from",
    "by",
    "due",
    "because",
    "of",
    "caused",
    "coming",
    "related",
    "be",
    "been",
    "being",
    "like",
    "likely",
    "really",
    "actually",
    "probably",
    "necessarily",
    "down",
    "even",
    "suspecting",
];

/// Of those, the ones that only a thing follows.
pub(super) const THING_FOLLOWS: &[&str] = &[
    "the", "a", "an", "any", "our", "my", "from", "by", "due", "because", "caused", "related",
];

/// After "not the" or "not a" these are turns of speech.
pub(super) const TURNS: &[&str] = &[
    "same", "best", "first", "last", "whole", "way", "peep", "chance", "clue", "word", "bit",
    "lot", "good", "great", "only",
];

/// After "not" these tell of a fault or say how far: nothing is ruled out.
pub(super) const STATES: &[&str] = &[
    "able",
    "again",
    "agree",
    "all",
    "allowed",
    "always",
    "apart",
    "as",
    "at",
    "available",
    "away",
    "back",
    "big",
    "bright",
    "budge",
    "catch",
    "certain",
    "change",
    "clean",
    "clear",
    "close",
    "cold",
    "come",
    "complete",
    "conclusive",
    "connect",
    "cool",
    "cross",
    "deep",
    "do",
    "down",
    "dry",
    "due",
    "easy",
    "empty",
    "enough",
    "even",
    "far",
    "fast",
    "fill",
    "find",
    "fine",
    "finish",
    "fit",
    "flush",
    "for",
    "full",
    "get",
    "go",
    "good",
    "hand",
    "have",
    "held",
    "help",
    "high",
    "hold",
    "home",
    "hot",
    "ignite",
    "in",
    "into",
    "inside",
    "just",
    "level",
    "light",
    "lit",
    "long",
    "low",
    "made",
    "make",
    "many",
    "mine",
    "move",
    "much",
    "normal",
    "off",
    "often",
    "ok",
    "okay",
    "on",
    "only",
    "out",
    "over",
    "perfect",
    "put",
    "quite",
    "reach",
    "ready",
    "recover",
    "responsive",
    "right",
    "round",
    "run",
    "same",
    "seat",
    "see",
    "set",
    "settle",
    "shut",
    "smooth",
    "spin",
    "square",
    "stable",
    "start",
    "stop",
    "strike",
    "sure",
    "tell",
    "tight",
    "touch",
    "true",
    "turn",
    "under",
    "up",
    "work",
    "yours",
    "zero",
    "brought",
    "got",
    "given",
    "told",
    "caught",
    "built",
    "drawn",
    "blown",
    "read",
    "meant",
    "open",
    "done",
    "gone",
    "kept",
    "left",
    "warm",
    "heavy",
    "possible",
    "necessary",
    "pumped",
];

/// Words in -ing that name a thing.
pub(super) const THINGS_IN_ING: &[&str] = &[
    "ring",
    "bearing",
    "fitting",
    "wiring",
    "spring",
    "coating",
    "roughing",
    "backing",
    "cooling",
    "outgassing",
    "degassing",
    "housing",
    "bushing",
    "casing",
];

/// What is a thing for sure, where a verb might stand as well: "foil not water", "gauge not move".
pub(super) const THINGS: &[&str] = &[
    "water",
    "moisture",
    "gauge",
    "gage",
    "sensor",
    "leak",
    "leaks",
    "air",
    "valve",
    "valves",
    "door",
    "lid",
    "hatch",
    "ring",
    "oring",
    "rings",
    "gasket",
    "flange",
    "flanges",
    "pump",
    "pumps",
    "cryo",
    "cryopump",
    "turbo",
    "rougher",
    "scroll",
    "foreline",
    "hose",
    "bellows",
    "clamp",
    "foil",
    "tape",
    "hair",
    "fibre",
    "lint",
    "oil",
    "gas",
    "gases",
    "outgassing",
    "helium",
    "argon",
    "nitrogen",
    "oxygen",
    "hydrogen",
    "solvent",
    "acetone",
    "ipa",
    "alcohol",
    "dust",
    "particles",
    "debris",
    "flake",
    "flakes",
    "dirt",
    "grease",
    "post",
    "feedthrough",
    "viewport",
    "window",
    "source",
    "target",
    "hearth",
    "crucible",
    "stage",
    "controller",
    "mfc",
];

/// What may be the matter, in general: beside a thing ruled out these are not searched for.
pub(super) const MATTER: &[&str] = &[
    "leak",
    "leaks",
    "leakage",
    "response",
    "reaction",
    "signal",
    "indication",
    "problem",
    "problems",
    "issue",
    "issues",
    "trouble",
    "fault",
    "cause",
    "causes",
    "culprit",
    "reason",
    "blame",
    "suspect",
    "offender",
    "seen",
    "found",
    "present",
    "detected",
    "observed",
    "visible",
    "noticed",
    "evident",
    "suspected",
    "guilty",
    "involved",
    "responsible",
    "faulty",
    "anywhere",
    "wrong",
    "sign",
    "signs",
    "trace",
    "evidence",
    "see",
];

/// Of those, the ones that say no more than that something is there: "no leak found".
pub(super) const THERE: &[&str] = &[
    "seen",
    "found",
    "present",
    "detected",
    "observed",
    "visible",
    "noticed",
    "evident",
    "anywhere",
    "response",
    "reaction",
    "signal",
    "indication",
    "sign",
    "signs",
    "trace",
    "evidence",
    "see",
];

/// "X is not the ..." rules X out.
pub(super) const NOT_IT: &[&str] = &[
    "problem",
    "issue",
    "cause",
    "culprit",
    "reason",
    "fault",
    "source",
    "trouble",
    "one",
    "suspect",
    "blame",
    "guilty",
    "involved",
    "responsible",
    "faulty",
    "seen",
    "found",
    "present",
    "detected",
    "observed",
    "visible",
    "noticed",
    "evident",
    "suspected",
    "it",
    "disease",
    "offender",
    "answer",
];

/// "X is not cracked" rules out both.
pub(super) const NOT_SO: &[&str] = &[
    "leaking",
    "leaky",
    "leak",
    "bad",
    "defective",
    "damaged",
    "dripping",
    "weeping",
    "contaminated",
    "cracked",
    "scratched",
    "torn",
    "worn",
    "bent",
    "loose",
    "dirty",
    "burnt",
    "burned",
    "overheated",
    "blocked",
    "clogged",
    "corroded",
    "cut",
    "pinched",
    "dented",
    "flattened",
    "hardened",
    "brittle",
    "broken",
    "stuck",
    "jammed",
    "frozen",
    "seized",
    "wet",
    "noisy",
    "chipped",
    "rusty",
    "greasy",
    "dusty",
    "fouled",
    "saturated",
    "swollen",
    "overgreased",
    "overfilled",
    "overdue",
    "poisoned",
    "flooded",
];

/// What was searched for in vain is not ruled out: "leak not found".
pub(super) const SOUGHT: &[&str] = &["leak", "leaks", "cause", "source", "reason", "fault"];

/// What a thing may be free of: "the line is oil free".
pub(super) const FREE_OF: &[&str] = &[
    "leak",
    "leaks",
    "water",
    "oil",
    "dust",
    "lint",
    "particle",
    "particles",
    "moisture",
    "grease",
    "hydrocarbon",
    "hydrocarbons",
    "contamination",
    "damage",
    "corrosion",
    "rust",
    "fault",
    "trouble",
];

/// After them "ok" or "normal" is what is compared with.
pub(super) const COMPARED: &[&str] = &[
    "than", "to", "as", "above", "below", "from", "under", "over", "like", "not", "near", "of",
    "half", "t", "never", "into",
];

/// What may end with nothing found: "leak check negative".
pub(super) const TRIALS: &[&str] = &[
    "check", "test", "spray", "sniff", "search", "hunt", "helium", "he", "leak",
];

/// A test by which a leak is looked for, and what it is looked for by: "leak check negative", "helium test
/// clean".
pub(super) const TESTS: &[&str] = &[
    "check",
    "checks",
    "test",
    "tests",
    "spray",
    "sniff",
    "search",
    "hunt",
    "leakcheck",
];
pub(super) const LOOKED_FOR: &[&str] = &["leak", "helium", "he"];

/// What is done to a thing to see whether it is the cause; beside what is ruled out it is not searched for.
pub(super) const LOOKED_AT: &[&str] = &[
    "checked",
    "tested",
    "tried",
    "suspected",
    "inspected",
    "examined",
    "off",
    "isolated",
    "blown",
    "done",
    "shut",
    "closed",
    "pushed",
    "pushing",
    "pressed",
    "pressing",
    "sprayed",
];

/// What a thing is tried by: "cleaned gauge, no change", "water suspected but not it".
pub(super) const TRIED: &[&str] = &[
    "checked",
    "tested",
    "tried",
    "replaced",
    "changed",
    "swapped",
    "cleaned",
    "suspected",
    "inspected",
    "renewed",
    "reseated",
    "tightened",
    "wiped",
    "baked",
    "rebuilt",
    "new",
    "off",
    "isolated",
    "blown",
    "shut",
    "closed",
    "washed",
    "opened",
    "done",
    "greased",
    "swap",
    "clean",
    "wipe",
    "blow",
    "blew",
    "pushed",
    "pushing",
    "pressed",
    "pressing",
    "sprayed",
];

/// The same said of the doing of it, where that is not formed alike: "shutting the water changed nothing".
pub(super) const TRYING: &[&str] = &[
    "shutting",
    "blowing",
    "redoing",
    "rebuilding",
    "regenerating",
];

/// What tells that something was seen, and so only that it was not seen: "no water visible".
pub(super) const SIGHT: &[&str] = &[
    "visible", "seen", "see", "saw", "sight", "noticed", "observed",
];

/// Of these as well "clean" or "tight" says that they are well; "not seal" tells of a fault.
pub(super) const SEALING: &[&str] = &["seal", "groove", "joint", "seat"];

/// What is let in or turned on: "no gas flowing" tells how a test was set up.
pub(super) const MEDIA: &[&str] = &[
    "gas", "gases", "argon", "ar", "nitrogen", "oxygen", "hydrogen", "water", "helium", "heat",
    "power", "air",
];

/// Behind such a thing these say that it is turned on.
pub(super) const TURNED_ON: &[&str] = &[
    "flowing", "on", "in", "running", "admitted", "flow", "called",
];

/// What runs with a medium, and is harmed without: "ran the gun without water".
pub(super) const RUNS: &[&str] = &[
    "run",
    "ran",
    "runs",
    "running",
    "operated",
    "operating",
    "fired",
    "started",
    "worked",
    "working",
];

/// What a machine is filled with, and what is filled so: "no oil in the pump" is a fault.
pub(super) const FILLINGS: &[&str] = &[
    "oil", "helium", "coolant", "water", "grease", "glycol", "fluid",
];
pub(super) const FILLED: &[&str] = &[
    "pump",
    "pumps",
    "compressor",
    "chiller",
    "circuit",
    "loop",
    "rougher",
    "scroll",
    "reservoir",
    "gearbox",
    "tank",
    "bearing",
    "bearings",
];

/// What closes or holds something, and is missed when it is not there: "without gasket", "no clamp".
pub(super) const FITTED: &[&str] = &[
    "gasket", "gaskets", "oring", "ring", "seal", "seals", "clamp", "clamps", "bolt", "bolts",
    "screw", "screws", "filter", "grease",
];

/// Behind such a thing these say that it was to be there.
pub(super) const IN_PLACE: &[&str] = &[
    "fitted",
    "installed",
    "inserted",
    "mounted",
    "put",
    "left",
    "placed",
];

/// What was to be done, and is missed when it was not: "no regen for months".
pub(super) const DUE: &[&str] = &[
    "regen",
    "regeneration",
    "regens",
    "service",
    "maintenance",
    "servicing",
];

/// How often and when a thing was tried: "door wiped three times now, no change".
pub(super) const HOW_OFTEN: &[&str] = &[
    "times", "time", "x", "twice", "once", "two", "three", "four", "five", "several", "many",
    "now", "again", "first", "already", "too", "also", "even",
];

/// Shut, these tell of the other side, and what does not change then is no more than seen.
pub(super) const DIVIDES: &[&str] = &["gate", "hivac", "isolation"];

/// What would be said of a thing that was tried: "no difference" alone after it says the same.
pub(super) const NO_EFFECT: &[&str] = &["difference", "effect", "help", "improvement"];

/// What is well says nothing of a cause: "empty chamber ok".
pub(super) const NO_CAUSE: &[&str] = &[
    "chamber",
    "load",
    "base",
    "pressure",
    "vacuum",
    "tool",
    "system",
    "everything",
    "all",
    "rest",
    "substrates",
    "substrate",
    "wafers",
    "pumpdown",
];

/// Behind "without" these tell of a test: "without water it falls to 1e-6".
pub(super) const WELL_THEN: &[&str] = &[
    "falls",
    "fell",
    "fall",
    "drops",
    "dropped",
    "goes",
    "went",
    "improves",
    "improved",
    "recovers",
    "reaches",
    "reached",
    "pumps",
    "good",
    "fine",
    "ok",
    "okay",
    "normal",
    "better",
    "perfect",
    "perfectly",
    "well",
    "healthy",
];

/// What helium would show.
pub(super) const ANSWERS: &[&str] = &[
    "response",
    "reaction",
    "signal",
    "indication",
    "reading",
    "bubbles",
    "leak",
    "leaks",
    "rise",
];

/// What is looked for with it and comes out with nothing: "helium shows nothing", "helium zip".
pub(super) const SHOWS: &[&str] = &[
    "shows",
    "showed",
    "show",
    "sees",
    "saw",
    "see",
    "finds",
    "find",
    "found",
    "detects",
    "gave",
    "gives",
    "says",
    "detector",
    "test",
    "check",
    "spray",
    "around",
    "everywhere",
    "all",
    "guy",
    "man",
    "hunt",
    "leak",
];

/// Behind what had no effect these say no more: "no difference at all".
pub(super) const AT_ALL: &[&str] = &["at", "whatever", "whatsoever", "either", "anywhere"];

/// Between a thing tried and "the same" these say that it reads so: "gauge swapped, reads the same".
pub(super) const READS: &[&str] = &[
    "the", "exactly", "reads", "read", "reading", "shows", "showed", "is", "was", "it", "still",
    "just", "stays", "stayed",
];

/// "No ..." behind what was tried says that it was in vain.
pub(super) const IN_VAIN: &[&str] = &[
    "change",
    "help",
    "improvement",
    "difference",
    "effect",
    "better",
    "joy",
    "use",
    "luck",
    "success",
    "good",
    "reaction",
    "response",
    "diff",
];

/// Before a thing these say nothing of which kind it is: "no big leak".
pub(super) const TELLS_NO_KIND: &[&str] = &[
    "combination",
    "obvious",
    "big",
    "large",
    "small",
    "real",
    "new",
    "old",
    "main",
    "whole",
    "own",
    "other",
    "significant",
    "external",
    "major",
    "minor",
    "single",
    "fresh",
    "gross",
    "more",
    "whatever",
    "apparent",
    "clear",
    "further",
    "actual",
    "both",
    "all",
];

/// Where something is not: "no dirt on the seal" says nothing of the seal.
pub(super) const PLACED: &[&str] = &[
    "on", "in", "at", "from", "under", "behind", "inside", "around", "near", "through", "between",
];

/// What would show a thing to be the cause: "no leak at the door" rules out the door.
pub(super) const GONE_THROUGH: &[&str] = &[
    "leak",
    "leaks",
    "leakage",
    "helium",
    "he",
    "response",
    "signal",
    "reaction",
    "bubbles",
    "indication",
];

/// What is missed when it is not there: "no flow" tells of a fault and rules nothing out.
pub(super) const LACKED: &[&str] = &[
    "flow",
    "power",
    "voltage",
    "supply",
    "cooling",
    "change",
    "changes",
    "movement",
    "rotation",
    "interlock",
    "communication",
    "display",
    "readout",
    "reading",
    "suction",
    "purge",
    "drive",
    "ignition",
    "glow",
    "lamp",
    "dot",
    "emission",
    "discharge",
    "inhibitor",
    "filter",
    "display",
    "compression",
    "pressure",
    "current",
    "light",
    "lights",
    "signal",
    "output",
    "charge",
    "fuel",
    "spark",
    "vacuum",
    "indication",
    "contact",
    "torque",
];

/// Verbs of finding: "did not see any water".
pub(super) const FINDS: &[&str] = &[
    "see", "saw", "seen", "find", "found", "detect", "detected", "notice", "noticed", "observe",
    "smell", "had",
];

/// Verbs of thinking: "do not think it is the gauge".
pub(super) const THINKS: &[&str] = &[
    "think", "believe", "suspect", "reckon", "blame", "look", "seem", "appear",
];

/// Words that a list of things does not hold.
pub(super) const NO_THING: &[&str] = &[
    "is", "was", "are", "were", "be", "been", "has", "have", "had", "do", "does", "did", "found",
    "saw", "see", "seen", "still", "stuck", "hangs", "hung", "sits", "stays", "then", "it", "we",
    "i", "they", "he", "she", "will", "would", "can", "could", "need", "needs", "rose", "fell",
    "went", "got", "came", "made", "took", "now", "to",
];

/// Behind "is not the cause" nothing else follows, or one of these.
pub(super) const AFTER_NOT_IT: &[&str] = &[
    "here", "this", "of", "as", "for", "in", "at", "either", "though", "anymore", "any", "now",
    "then", "with", "through", "on", "by", "anywhere", "after",
];

/// Of one thing, so that another named before it by "and" is not meant.
pub(super) const ONE: &[&str] = &[
    "is", "was", "has", "looks", "seems", "comes", "isnt", "wasnt", "isn", "wasn",
];

/// How a pressure goes: "rise not linear", "does not fall". Only the word itself is ruled out.
pub(super) const COURSE: &[&str] = &[
    "linear",
    "straight",
    "flat",
    "steady",
    "curved",
    "fall",
    "falling",
    "drop",
    "dropping",
    "decrease",
    "rise",
    "rising",
    "increase",
    "increasing",
];
