//! Words of everyday English: where the fleet has never written one, it is still no slip of another.
//!
//! Common practice, no source. Words of the trade stand in the word list.

use std::{
    collections::HashSet,
    sync::{Arc, LazyLock},
};

use super::analysis::split;

/// Whether a word, in small letters, or a stem is one of everyday English.
pub(in crate::search) fn is_everyday(word: &str) -> bool {
    static WORDS: LazyLock<HashSet<Arc<str>>> = LazyLock::new(|| {
        let words = split(WRITTEN, &[]).into_iter();
        words.flat_map(|word| [word.plain, word.stem]).collect()
    });
    WORDS.contains(word)
}

const WRITTEN: &str = "
able about above across actual actually add added afternoon again against ago agree ahead air alike
alive allow allowed almost alone along already also although always amount amps angle animal annual
another answer any anybody anyone anything anyway apart appear area around arrive aside ask asked asleep
author away awful back bad badly bank beat became become bed been before began begin behind being
believe below beneath beside best better between beyond big bill bit black bless blue board boat body
book born both bottom bought bounce box brand break bright bring broad brought brown build built busy
buy call called calm came can card care careful carried carry case catch caught cause caused certain
chance change changes chase cheap check choice choose clear clearly clever close closed cloth cloud cold
collar colour come coming common company compare complete cost could count country couple course cover
crew cross cup current customer daily damage dark date dead deal dear decide deep degree degrees did die
different difficult dinner dirty discuss do does doing done double doubt down draw dream drew drink drive
driver drove dry due dull during each ear early earth ease easily east easy eat edge effect eight either
else empty end ended engine enough enter entire equal error even evening event ever every everybody
everyone everything exact exactly except expect extra eye face fact fair fall fallen false family far
farm fast father fault fear feel feet fell felt few field fifth fight figure fill final finally find fine
finger finish fire first fish five fix flat flew floor flow fly follow food foot for force forget form
forth forty forward found four fourth free fresh friday friend from front full funny further game garden
gave gear general gentle get girl give given glad glass goes gold gone good got grade grand great green
grew grey ground group grow guess guest guide half halfway hand handle hang happen happy hard hardly has have head
hear heard heart heat heavy held hello help her here herself high hill him himself hire hit hold hole
holiday home hope horse hot hotel hour hours house how however huge human hundred hung hurry hurt idea
ill image inch inches inside instead into iron issue item job join joint joke judge jump just keep kept
key kick kind king knew know known lack lady laid land large last late later laugh law lay lead leaf learn
least leave left leg length less lesson let letter level lie life lift light like likely limit line lines
list listen little live load local lock long longer look looked loose lose loss lost lot loud love low
lower luck lunch machine made mail main make making man manage manual many map mark market master match
matter may maybe mean means meant measure meet member men mend mention message met metal middle might mile
mind mine minor minus minute minutes miss missed mistake model moment monday money month months more
morning most mother mouth move moved much music must name near nearly neat neck need needed negative neither never
new news next nice night nine nobody noise none noon nor normal north nose note nothing notice now number
object obvious odd off offer office often oil okay old once one only onto open opened opposite order other
others ought out outside over own page paid pain paint pair paper park part parts party pass passed past
path pay people perhaps person phone photo pick picture piece place placed plain plan plant play please
point poor port positive possible post pound power press pretty price print problem proper proud prove public pull
purpose push put quality quarter question quick quickly quiet quite race rain raise ran range rare rate
rather reach read reading ready real really reason recent record red reduce refuse regular remain remember
remove repeat reply report rest result return rich ride right rise risen rising river road rock role roll
roof room rose rough round row rule ruled rules run running rush safe said sail sale salt same sand sat
saturday save saw say scale school sea season seat second see seem seen self sell send sense sent separate
serious serve set seven several shake shall shape share sharp she sheet shelf shift shine ship shoe shop
short should show shown shut sick side sight sign silent silver similar simple since sing single sit six
size skin sky sleep slight slip slow slowly small smart smell smoke smooth snow social soft sold some
somebody somehow someone something sometimes soon sorry sort sound south space speak special speed spell
spend spent split spoke spot spread spring square stage staff stand star start started state stay step
stick still stock stone stood stop stopped store storm story straight strange street strong student study
stuff such sudden sugar suit summer sun sunday supply suppose sure surface surprise sweet swim switch
table take taken talk tall taste team tell ten term test than thank that the their them then there these
they thick thin thing things think third thirty this those though thought thousand three through throw
thursday tight till time times tiny tired title today together told tomorrow tonight too took top total
touch toward town track trade train travel tree trial trick tried trip trouble truck true trust truth try
tuesday turn turned twelve twenty twice two type uncle under understand unit units unless until unusual
upper upon upset use used useful usual usually value various vary very view village visit voice volt volts
wait walk wall want wanted warm warn was wash waste watch watt watts wave way weak wear weather wednesday
week weeks weight welcome well went were west what whatever wheel when where whether which while white who
whole whose why wide wife wild will win wind winter wire wise wish with within without woman wonder wood
word words wore work worked worker world worry worse worst worth would write wrong wrote yard year years
yellow yes yesterday yet young your yours zero
";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn everyday_words_are_known_and_words_of_the_trade_left_to_the_list() {
        assert!(
            ["less", "last", "around", "ruled", "watts"]
                .into_iter()
                .all(is_everyday)
        );
        assert!(
            !["vlave", "foreline", "regeneraton"]
                .into_iter()
                .any(is_everyday)
        );
    }
}
