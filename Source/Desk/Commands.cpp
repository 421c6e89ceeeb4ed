#include "Desk/Commands.h"

#include <algorithm>

namespace spillwright::desk {

const std::vector<Command>& commands() {
    using K = juce::KeyPress;
    const auto ctrl = juce::ModifierKeys::commandModifier;
    const auto ctrlShift = juce::ModifierKeys::commandModifier | juce::ModifierKeys::shiftModifier;
    const auto alt = juce::ModifierKeys::altModifier;
    const auto shift = juce::ModifierKeys::shiftModifier;
    const auto altShift = juce::ModifierKeys::altModifier | juce::ModifierKeys::shiftModifier;
    using Id = CommandId;
    // Shifted comma and full stop differ between keyboards: the characters of the usual layouts are all taken.
    static const std::vector<Command> table{
        {Id::open, "Recording", "open a folder or a session", "Ctrl O", "", {K('o', ctrl, 0)}},
        {Id::openDemo, "Recording", "open the demo", "Ctrl D", "", {K('d', ctrl, 0)}},
        {Id::save, "Recording", "save the session", "Ctrl S", "", {K('s', ctrl, 0)}},
        {Id::saveAs, "Recording", "save it under another name", "Ctrl Shift S", "", {K('s', ctrlShift, 0)}},
        {Id::goOn, "Recording", "go on where it stopped", "Ctrl G", "", {K('g', ctrl, 0)}},
        {Id::propose, "Recording", "propose settings", "P", "pP"},
        {Id::terms, "Recording", "what proposals may do, and for whom", "V", "vV"},
        {Id::render, "Recording", "render what is heard", "Ctrl R", "", {K('r', ctrl, 0)}},
        {Id::report, "Recording", "a report of it, as a page and a recall sheet", "Ctrl E", "", {K('e', ctrl, 0)}},
        {Id::playStop, "Listening", "play, stop", "Space", " "},
        {Id::toStart, "Listening", "back to the start of the loop", "B", "bB"},
        {Id::wholeLoop, "Listening", "loop the whole recording", "L", "lL"},
        {Id::readLoop, "Listening", "read the loop alone, or the whole", "R", "rR"},
        {Id::nextMoment, "Listening", "loop the next moment the source leads", "J", "jJ"},
        {Id::hearCell, "Listening", "hear the source through this track, or all", "I", "iI"},
        {Id::hearAlone, "Listening", "hear the source alone as this track does", "U", "uU"},
        {Id::hearAloneInAll, "Listening", "hear the source alone as all tracks do", "Y", "yY"},
        {Id::mono, "Listening", "in mono", "Alt M", "", {K('m', alt, 0)}},
        {Id::sideOnly, "Listening", "the side alone: left less right", "Alt S", "", {K('s', alt, 0)}},
        {Id::bandOnly, "Listening", "the low-mid band alone", "Alt B", "", {K('b', alt, 0)}},
        {Id::spillSolo, "Listening", "the source's spill: all but its own tracks", "Alt O", "", {K('o', alt, 0)}},
        {Id::hearPair, "Listening", "the chosen pair alone, or all", "Alt I", "", {K('i', alt, 0)}},
        {Id::louder, "Listening", "output louder by 1 dB", "+", "+="},
        {Id::quieter, "Listening", "output quieter by 1 dB", "-", "-_"},
        {Id::sourceMap, "Sources", "which source is heard where, or pairs", "E", "eE"},
        {Id::nextFocus, "Sources", "read the next source alone, or all", "X", "xX"},
        {Id::findings, "Sources", "order of entry, help, spacing", "O", "oO"},
        {Id::standing, "Sources", "which track stands close to what", "D", "dD"},
        {Id::remarks, "Window", "all remarks on the recording", "W", "wW"},
        {Id::menu, "Window", "the menu of everything", "F10", "", {K(K::F10Key)}},
        {Id::practice, "Window", "practice room and lessons", "Alt R", "", {K('r', alt, 0)}},
        {Id::settings, "Window", "settings", "Ctrl ,", "", {K(',', ctrl, 0)}},
        {Id::audioDevice, "Window", "audio device", "Alt D", "", {K('d', alt, 0)}},
        {Id::darkTwin, "Window", "dark or light", "T", "tT"},
        {Id::copyPair, "Window", "copy the pair in words", "Ctrl C", "", {K('c', ctrl, 0)}},
        {Id::savePlots, "Window", "save the pair's plots", "Ctrl P", "", {K('p', ctrl, 0)}},
        {Id::gridCloser, "Window", "grid larger", "Alt +", "", {K('+', alt, 0), K('=', alt, 0), K('+', altShift, 0)}},
        {Id::gridFarther, "Window", "grid smaller, until all of it fits", "Alt -", "", {K('-', alt, 0)}},
        {Id::largerWindow,
         "Window",
         "everything larger",
         "Ctrl +",
         "",
         {K('+', ctrl, 0), K('=', ctrl, 0), K('+', ctrlShift, 0)}},
        {Id::smallerWindow, "Window", "everything smaller", "Ctrl -", "", {K('-', ctrl, 0)}},
        {Id::glossary, "Window", "what you see, in words", "F1", "", {K(K::F1Key)}},
        {Id::manual, "Window", "the manual", "Shift F1", "", {K(K::F1Key, shift, 0)}},
        {Id::keys, "Window", "the sheet of keys", "?", "?"},
        {Id::leave, "Window", "close, dismiss, stop the work", "Esc", "", {K(K::escapeKey)}},
        {Id::version1, "Versions", "as recorded", "1", "1"},
        {Id::version2, "Versions", "flips", "2", "2"},
        {Id::version3, "Versions", "flips, nudges to 1 ms", "3", "3"},
        {Id::version4, "Versions", "flips, nudges to 10 ms", "4", "4"},
        {Id::version5, "Versions", "mine", "5", "5"},
        {Id::version6, "Versions", "what is kept, or keep what is heard", "6", "6"},
        {Id::version7, "Versions", "the same under 7", "7", "7"},
        {Id::version8, "Versions", "the same under 8", "8", "8"},
        {Id::keep6, "Versions", "keep what is heard, anew, under 6", "Ctrl 6", "", {K('6', ctrl, 0)}},
        {Id::keep7, "Versions", "anew under 7", "Ctrl 7", "", {K('7', ctrl, 0)}},
        {Id::keep8, "Versions", "anew under 8", "Ctrl 8", "", {K('8', ctrl, 0)}},
        {Id::nameKept, "Versions", "name what is kept and heard", "Alt N", "", {K('n', alt, 0)}},
        {Id::difference, "Versions", "difference from the one heard before", "9", "9"},
        {Id::matchLoudness, "Versions", "all equally loud, or as they are", "Q", "qQ"},
        {Id::blindTest, "Versions", "compare two blind", "0", "0"},
        {Id::compareTakes, "Versions", "compare with another take", "Alt T", "", {K('t', alt, 0)}},
        {Id::undo, "Versions", "undo", "Ctrl Z", "", {K('z', ctrl, 0)}},
        {Id::redo, "Versions", "redo", "Ctrl Shift Z", "", {K('z', ctrlShift, 0), K('y', ctrl, 0)}},
        {Id::history, "Versions", "what was done, and back to any of it", "Ctrl H", "", {K('h', ctrl, 0)}},
        {Id::trackUp, "Choosing", "track above", "Up", "", {K(K::upKey)}},
        {Id::trackDown, "Choosing", "track below", "Down", "", {K(K::downKey)}},
        {Id::trackUpToo, "Choosing", "together with the track above", "Shift Up", "", {K(K::upKey, shift, 0)}},
        {Id::trackDownToo, "Choosing", "together with the track below", "Shift Down", "", {K(K::downKey, shift, 0)}},
        {Id::firstTrack, "Choosing", "first track", "Home", "", {K(K::homeKey)}},
        {Id::lastTrack, "Choosing", "last track", "End", "", {K(K::endKey)}},
        {Id::partnerBefore, "Choosing", "other of the pair, or source, before", "Left", "", {K(K::leftKey)}},
        {Id::partnerAfter, "Choosing", "other of the pair, or source, after", "Right", "", {K(K::rightKey)}},
        {Id::moveUp, "Choosing", "track farther up in the list", "Alt Up", "", {K(K::upKey, alt, 0)}},
        {Id::moveDown, "Choosing", "track farther down in the list", "Alt Down", "", {K(K::downKey, alt, 0)}},
        {Id::groupTracks, "Choosing", "group the chosen tracks, or dissolve", "Alt G", "", {K('g', alt, 0)}},
        {Id::foldGroup, "Choosing", "fold the track's group, or unfold", "Alt F", "", {K('f', alt, 0)}},
        {Id::labelTrack, "Choosing", "next label of the chosen tracks", "Alt L", "", {K('l', alt, 0)}},
        {Id::renameTrack, "Choosing", "call the track something else here", "F2", "", {K(K::F2Key)}},
        {Id::gridOrder, "Choosing", "grid as listed, by likeness, by spill", "/", "/"},
        {Id::flip, "Track", "flip", "F", "fF"},
        {Id::earlier, "Track", "a sample earlier", ",", ","},
        {Id::later, "Track", "a sample later", ".", "."},
        {Id::muchEarlier, "Track", "0.1 ms earlier", "Shift ,", "<;"},
        {Id::muchLater, "Track", "0.1 ms later", "Shift .", ">:"},
        {Id::sweep, "Track", "held: sweep the nudge slowly to and fro", "Z", "zZ"},
        {Id::align, "Track", "line up with the other of the pair", "A", "aA"},
        {Id::typeNudge, "Track", "type a nudge: 3.2 ms, 155 smp, 1.1 m", "N, Enter", "nN", {K(K::returnKey)}},
        {Id::quieterTrack, "Track", "gain down by 0.5 dB", "[", "["},
        {Id::louderTrack, "Track", "gain up by 0.5 dB", "]", "]"},
        {Id::typeGain, "Track", "type a gain", "G", "gG"},
        {Id::typeHighPass, "Track", "type a high-pass", "C", "cC"},
        {Id::typePan, "Track", "type a pan: L30, C, R100", "Alt P", "", {K('p', alt, 0)}},
        {Id::mute, "Track", "mute", "M", "mM"},
        {Id::solo, "Track", "solo", "S", "sS"},
        {Id::hold, "Track", "hold: proposals leave it alone", "H", "hH"},
        {Id::link, "Track", "stereo pairs move together, or not", "K", "kK"},
    };
    return table;
}

const Command& command(CommandId id) {
    return *std::find_if(commands().begin(), commands().end(), [id](const Command& c) { return c.id == id; });
}

namespace {

std::vector<OwnKey>& own() {
    static std::vector<OwnKey> keys;
    return keys;
}

/// Letters are the same key whatever their case.
bool sameKey(const juce::KeyPress& a, const juce::KeyPress& b) {
    const auto plain = [](const juce::KeyPress& key) {
        const int code = key.getKeyCode();
        return code >= 'A' && code <= 'Z' ? code - 'A' + 'a' : code;
    };
    return plain(a) == plain(b) && a.getModifiers().withoutMouseButtons() == b.getModifiers().withoutMouseButtons();
}

const OwnKey* ownKeyOf(CommandId id) {
    const auto found = std::find_if(own().begin(), own().end(), [id](const OwnKey& one) { return one.id == id; });
    return found == own().end() ? nullptr : &*found;
}

bool usualKeyFits(const Command& entry, const juce::KeyPress& key) {
    const bool plain = !key.getModifiers().isCommandDown() && !key.getModifiers().isAltDown();
    const auto typed = key.getTextCharacter();
    if (plain && typed > 0 && typed < 128 && entry.characters.find(static_cast<char>(typed)) != std::string::npos)
        return true;
    // With shift a letter may come as its capital.
    return std::any_of(entry.keys.begin(), entry.keys.end(),
                       [&](const juce::KeyPress& wanted) { return sameKey(wanted, key); });
}

} // namespace

std::optional<CommandId> commandFor(const juce::KeyPress& key) {
    for (const auto& one : own())
        if (sameKey(one.key, key)) return one.id;
    for (const auto& entry : commands())
        if (!ownKeyOf(entry.id) && usualKeyFits(entry, key)) return entry.id;
    return std::nullopt;
}

std::string keyInWords(const juce::KeyPress& key) {
    std::string words;
    const auto modifiers = key.getModifiers();
    if (modifiers.isCtrlDown()) words += "Ctrl ";
    if (modifiers.isAltDown()) words += "Alt ";
    if (modifiers.isShiftDown()) words += "Shift ";
    const juce::KeyPress bare(key.getKeyCode(), {}, 0);
    auto name = bare.getTextDescription();
    if (name.startsWithChar('#')) name = "key " + name; // one without a name
    return words + (name.substring(0, 1).toUpperCase() + name.substring(1)).toStdString();
}

std::string keyOf(CommandId id) {
    if (const auto* mine = ownKeyOf(id)) return keyInWords(mine->key);
    const auto& entry = command(id);
    const bool taken = std::any_of(own().begin(), own().end(), [&](const OwnKey& one) {
        const auto character =
            juce::CharacterFunctions::toLowerCase(static_cast<juce::juce_wchar>(one.key.getKeyCode()));
        return usualKeyFits(entry, juce::KeyPress(one.key.getKeyCode(), one.key.getModifiers(), character));
    });
    return taken ? "\u2013" : entry.shown;
}

const std::vector<OwnKey>& ownKeys() {
    return own();
}

bool setOwnKey(CommandId id, const juce::KeyPress& key) {
    if (key.isKeyCode(juce::KeyPress::escapeKey) || key.isKeyCode(juce::KeyPress::tabKey)) return false;
    std::erase_if(own(), [&](const OwnKey& one) { return one.id == id || sameKey(one.key, key); });
    own().push_back({id, key});
    return true;
}

void clearOwnKey(CommandId id) {
    std::erase_if(own(), [&](const OwnKey& one) { return one.id == id; });
}

void clearOwnKeys() {
    own().clear();
}

juce::String ownKeysAsText() {
    juce::StringArray lines;
    for (const auto& one : own()) {
        const auto& entry = command(one.id);
        lines.add(juce::String(entry.group + "/" + entry.words) + "\t" + juce::String(one.key.getKeyCode()) + "\t" +
                  juce::String(one.key.getModifiers().withoutMouseButtons().getRawFlags()));
    }
    return lines.joinIntoString("\n");
}

void setOwnKeysFromText(const juce::String& text) {
    own().clear();
    for (const auto& line : juce::StringArray::fromLines(text)) {
        const auto parts = juce::StringArray::fromTokens(line, "\t", "");
        if (parts.size() != 3) continue;
        for (const auto& entry : commands())
            if (parts[0] == juce::String(entry.group + "/" + entry.words))
                setOwnKey(entry.id,
                          juce::KeyPress(parts[1].getIntValue(), juce::ModifierKeys(parts[2].getIntValue()), 0));
    }
}

} // namespace spillwright::desk
