#pragma once

#include <juce_gui_basics/juce_gui_basics.h>

#include <optional>
#include <string>
#include <vector>

namespace spillwright::desk {

enum class CommandId {
    open,
    openDemo,
    save,
    saveAs,
    goOn,
    propose,
    glossary,
    manual,
    hearPair,
    terms,
    render,
    report,
    playStop,
    toStart,
    wholeLoop,
    readLoop,
    nextMoment,
    hearCell,
    hearAlone,
    hearAloneInAll,
    sourceMap,
    nextFocus,
    findings,
    standing,
    louder,
    quieter,
    firstTrack,
    lastTrack,
    trackUp,
    trackDown,
    trackUpToo,
    trackDownToo,
    partnerBefore,
    partnerAfter,
    gridOrder,
    renameTrack,
    labelTrack,
    moveUp,
    moveDown,
    groupTracks,
    foldGroup,
    gridCloser,
    gridFarther,
    copyPair,
    savePlots,
    flip,
    earlier,
    later,
    muchEarlier,
    muchLater,
    typeNudge,
    align,
    quieterTrack,
    louderTrack,
    typeGain,
    typeHighPass,
    typePan,
    mute,
    solo,
    hold,
    link,
    version1,
    version2,
    version3,
    version4,
    version5,
    version6,
    version7,
    version8,
    keep6,
    keep7,
    keep8,
    nameKept,
    difference,
    matchLoudness,
    blindTest,
    compareTakes,
    mono,
    sideOnly,
    bandOnly,
    spillSolo,
    sweep,
    undo,
    redo,
    history,
    remarks,
    audioDevice,
    settings,
    practice,
    menu,
    darkTwin,
    largerWindow,
    smallerWindow,
    keys,
    leave
};

/// One row of the one table of keys: what the window obeys is what menu and sheet of keys show.
struct Command {
    CommandId id;
    std::string group;
    std::string words;
    std::string shown;                  ///< The key as people call it, unless the user has chosen another.
    std::string characters;             ///< Any of these typed without ctrl ...
    std::vector<juce::KeyPress> keys{}; ///< ... or any of these pressed.
};
const std::vector<Command>& commands();
const Command& command(CommandId id);
std::optional<CommandId> commandFor(const juce::KeyPress& key);

/// The key of a command as people call it: the user's, else the usual one; a dash where another command has taken it.
std::string keyOf(CommandId id);
std::string keyInWords(const juce::KeyPress& key); ///< "Ctrl Shift Z", "F", "Page up".

/// Keys of the user's own, in the place of the usual ones. [message thread] for all of the program.
struct OwnKey {
    CommandId id;
    juce::KeyPress key;
};
const std::vector<OwnKey>& ownKeys();
/// The key now stands for this command alone. Esc and Tab stay what they are: false.
bool setOwnKey(CommandId id, const juce::KeyPress& key);
void clearOwnKey(CommandId id);
void clearOwnKeys();
/// As text, a line a key, and back; lines that say nothing known are passed over.
juce::String ownKeysAsText();
void setOwnKeysFromText(const juce::String& text);

} // namespace spillwright::desk
