//! What the words mean and how the figures come about.

use axum::{extract::State, response::Html};

use super::{checks::cautions, markdown};
use crate::web::{
    fault::{self, Fault},
    show,
    state::App,
    views::{
        about::AboutPage,
        incident::Fact,
        page::{Page, Section},
    },
};

const QUERY_HELP: &str = "\
Type what you see, in your own words. Word endings do not matter, words of the trade \
that mean the same are found by one another, and a slip of the finger is forgiven in a \
word the fleet has never written, or twenty times more seldom than the word meant (five times, where that is a word of the list), unless it is an ordinary word \
of English. Words typed in one, as `doorsealdirty`, are parted where nobody writes them so. Cases that share more and \
rarer words stand first, and words side by side, as in `base plate`, count more than apart. A cause that \
a tenth of the nearest cases have, and three at least, has a place among the first ten, unless its best case \
scores less than 0.7 of the one that would give place. An empty search lists every \
incident, newest first.

**Pressures** are read as numbers, not as words: `4e-5`, `5.3E-5 mbar`, `5x10^-6 torr`, \
`0.00004`, `2.0-6`, `four minus six`, `mid -6s torr`, in Torr, mbar, Pa, micron, psi or atm, with mTorr, \
`5.3 mPa`, `40 µtorr`, kPa and the like. Cases near it in decades come up, whatever unit they were \
written in. A number without a unit is read in the unit of each case. Compared is the pressure at the \
fault: where a report gives it, other numbers of its symptom and those of a foreline do not count as it. \
What is said of the foreline or the roughing line, as in `foreline 130 mtorr`, is compared with what cases say of these \
at the fault. A rate of rise, `3e-4 mbar in 10 min` among them, or a flow is left aside and told. \
After *normally*, *up from* or *instead of*, or before *before*, and after *was* or *yesterday* beside another number, a \
number is compared with the pressure before the fault: `4e-5 torr, was 5e-7`, `was 3e-7 now 4e-5`, `3e-7 -> 4e-5`. \
Of two of which the second is less than half, `fell from 9e-6 to 2e-6`, the first is the fault. Ends keep \
out what lies outside them: `between 1e-6 and 1e-5 torr`, `1e-6..1e-5 mbar`, `> 1e-5 torr`, \
`below 1e-6 torr`, `at least 1e-5`, `1e-5 or worse`, `1e-5..`; but `won't go below 4e-5` is near 4e-5.

The same pressure typed again counts once. Heights of a pasted spectrum, `18=8.1e-7 28=2e-8`, are no pressures: the peaks \
less than a decade below the highest are taken as mass numbers.

**Other quantities** count where a near one tells of a like case: minutes (`40 min`, `1.5 h`, `1:30 h`), \
the temperature of a cold head (`18 K`), the power of a drive (`400 W`), and mass numbers \
(`mass 40`, `m/z 18`, `28/32`, `rga shows 43 and 58`), which have to be right, as has `57 on the scan`; `12,100 h` is read with its comma between thousands; after *no* as in `mass 28 no 32` cases \
with it are left out. Compared is what a case tells of the fault, not what is usual or was so after the fix. Their \
figures, dates and times of day are not searched for as words besides.

**What you ruled out** may be said: `no water`, `not the hose`, `can't be the door`, `neither air \
nor water`, `leak-free`, `nothing wrong with the pump`, `door fine`, `gate valve ruled out`, `except the door`, \
`regen did not help`, `cleaned gauge, no change`, `leak check negative`. A check on record that found nothing counts as \
well, for what it shows most causes of. It \
is matched with cases that ruled it out too, whose words are quoted, not with those that found it: where nothing else is \
asked, cases whose cause is of that name are left out, else they count for less, unless they rule out the same. A wider word ruled out rules out \
the narrower as well, not the other way: where nobody saw a drip there may be water, as there may after `no water visible`. How a test was set up, `no gas flowing`, \
and what is lacking where it belongs, `no oil in the pump`, `no regen for months`, rule nothing out. After *after* or *since*, what happened before counts: `after regen`. What is *not ruled out*, \
and a fault as in `valve not closing` or `no flow`, is searched for as it is told. What a proof says is gone rules \
nothing out.

To narrow a search:

- `\"tip seal\"`, `\"no change\"`: these words side by side, whether the case says that it is so or not; words too \
common to be kept, other than *no* and *not*, may be any word, which is told; figures in it count as pressures
- `-gauge`: leave out cases with this word, also where they rule it out
- `-cause:gauge`: leave out cases with this word in that part
- `cause:foil`, `fix:cleaned`, `symptom:stuck`, `sign:linear`: the word in that \
part of the case, also where it is ruled out; `component:` is the same as `cause:`, `antecedent:` the same as `sign:`; \
`sign:\"not linear\"` finds where that sign was looked for and not seen
- `cause:cryo-saturated`, `sign:rise-linear`, `antecedent:\"Power cut or emergency stop\"`: an identifier or a whole \
name of the catalogue means that cause, sign or antecedent and nothing else; `component:door-seal` or its name all causes \
of that component
- `proof:helium`, `notes:gauge`, `parts:gasket`, `checks:flake`, `reason:production`: the word in the proof, the \
notes, the parts used, the notes of checks, or the reason why the pressure was not restored, whether it is said to \
be so or not
- `tool:BRK-04`, `site:BRK`, `class:cryo-evaporator`: of this tool, site or tool class; a site or class also by \
the name that pages show, and any of them by its beginning
- `status:open` or `status:closed`
- `kind:air-leak`, `water-leak`, `outgassing`, `gauge-fault`, `pumping-fault`, `process-change`
- `pressure:1e-6..1e-5`, `pressure:mid -6s`, `healthy:5e-7 torr`: the pressure at the fault, or before it
- `#123` with nothing else, or of three figures and more at the beginning: incident 123 (`post #3` is searched for as it stands)

Of two tools, or two of any of these that a case has one of, it may be either. A tool is also found by its name as it is \
typed, `brk04` or `brk 04`, and left out after *not* or *except*. Of the words beside these a case has to hold one \
or more; where none does, the page says so and shows what fits without.

A minus before any of these leaves out what it says: `-kind:air-leak`, `-status:open`, `-4e-5`. \
A value of several words stands in quotation marks: `cause:\"door seal\"`. Where nothing \
fits all of it, the nearest is shown and the page says what was left out; a name or field word that there \
is not is told with those there are. Of a search the first \
2,000 characters count, and the first 16 of these narrowing words.

Cases of one class of tool and one cause, with the same figures and the same things ruled out, told \
in nearly the same words, stand in the list once, with the others as *told alike*; open cases only in \
the same words, endings and the commonest words aside. The line above the list counts such cases once, and above cases like an incident it names apart the causes that checks on \
its record speak against. Its link leads to the check sequence \
of the tool that the search names, or else of the class, with what the search states filled in: the pressure at the fault, signs and what happened before, as \
far as the search names them by the catalogue’s words side by side; a question, a doubt and what is said both ways state nothing, nor does `not the new foil`. A pressure without a unit is \
taken to be in that of the class, which the page says.

While you type, words, causes and tools that begin so are suggested, and after `cause:`, `tool:`, \
`class:`, `kind:`, `sign:`, `status:` and `site:` their values; none that no case has. Arrow keys walk them, Enter \
takes one, Escape closes the list. The address of a search is a plain link that may be passed on; \
*Keep this search* puts it under a name on the front page.";

pub(super) async fn show(State(app): State<App>) -> Result<Html<String>, Fault> {
    let asker = app.asker();
    let (open, closed) = app.store.counts().await?;
    let tools = app.store.tools(&asker).await?.len() as u64;
    let sites = app.store.sites(&asker).await?.len() as u64;
    let catalogue = &app.catalogue;
    let counts = vec![
        Fact::new("Incidents closed", show::count(closed.unsigned_abs())),
        Fact::new("Incidents open", show::count(open.unsigned_abs())),
        Fact::new("Tools", show::count(tools)),
        Fact::new("Sites", show::count(sites)),
        Fact::new(
            "Causes known",
            show::count(catalogue.causes().count() as u64),
        ),
        Fact::new(
            "Checks described",
            show::count(catalogue.checks().count() as u64),
        ),
    ];
    fault::page(&AboutPage {
        page: Page::new("Help", Section::About),
        cautions: cautions(catalogue.cautions().map(|caution| &caution.id), catalogue),
        counts,
        query_help: markdown::render(QUERY_HELP),
    })
}
