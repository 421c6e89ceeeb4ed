#include "Core/Sources/CloseHint.h"

#include <algorithm>
#include <array>
#include <string>

namespace spillwright {

namespace {

using Word = std::string_view;

constexpr std::array roomWords{
    Word("room"),     Word("rooms"),     Word("overhead"),   Word("overheads"),  Word("oh"),       Word("ohs"),
    Word("ambience"), Word("ambient"),   Word("ambiance"),   Word("amb"),        Word("hall"),     Word("tree"),
    Word("decca"),    Word("outrigger"), Word("outriggers"), Word("far"),        Word("surround"), Word("surrounds"),
    Word("audience"), Word("crowd"),     Word("balcony"),    Word("auditorium"),
};

constexpr std::array closeWords{
    Word("close"),   Word("spot"),     Word("di"),         Word("amp"),        Word("cab"),       Word("kick"),
    Word("kik"),     Word("bd"),       Word("snare"),      Word("snr"),        Word("sd"),        Word("sn"),
    Word("hat"),     Word("hats"),     Word("hihat"),      Word("hh"),         Word("tom"),       Word("toms"),
    Word("ride"),    Word("crash"),    Word("cymbal"),     Word("bass"),       Word("upright"),   Word("guitar"),
    Word("gtr"),     Word("gtrs"),     Word("piano"),      Word("pno"),        Word("keys"),      Word("organ"),
    Word("rhodes"),  Word("leslie"),   Word("celesta"),    Word("harp"),       Word("accordion"), Word("vocal"),
    Word("vocals"),  Word("vox"),      Word("voc"),        Word("voice"),      Word("soprano"),   Word("alto"),
    Word("tenor"),   Word("bari"),     Word("baritone"),   Word("violin"),     Word("vln"),       Word("vn"),
    Word("viola"),   Word("vla"),      Word("cello"),      Word("vc"),         Word("vcl"),       Word("fiddle"),
    Word("banjo"),   Word("mandolin"), Word("trumpet"),    Word("trumpets"),   Word("tpt"),       Word("trp"),
    Word("cornet"),  Word("flugel"),   Word("trombone"),   Word("tbn"),        Word("bone"),      Word("horn"),
    Word("hn"),      Word("tuba"),     Word("sax"),        Word("saxophone"),  Word("flute"),     Word("fl"),
    Word("piccolo"), Word("oboe"),     Word("ob"),         Word("clarinet"),   Word("cl"),        Word("bassoon"),
    Word("bsn"),     Word("timpani"),  Word("timp"),       Word("conga"),      Word("congas"),    Word("bongo"),
    Word("bongos"),  Word("shaker"),   Word("tambourine"), Word("tamb"),       Word("cajon"),     Word("triangle"),
    Word("cowbell"), Word("marimba"),  Word("vibes"),      Word("vibraphone"), Word("xylophone"), Word("glockenspiel"),
};

bool isLetter(char c) {
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
}

} // namespace

CloseHint closeHintOf(std::string_view trackName) {
    auto hint = CloseHint::unknown;
    std::string word;
    const auto among = [&](const auto& words) { return std::find(words.begin(), words.end(), word) != words.end(); };
    for (std::size_t n = 0; n <= trackName.size(); ++n) {
        if (n < trackName.size() && isLetter(trackName[n])) {
            word += static_cast<char>(trackName[n] | 0x20);
            continue;
        }
        if (among(roomWords)) return CloseHint::room;
        if (among(closeWords)) hint = CloseHint::close;
        word.clear();
    }
    return hint;
}

} // namespace spillwright
