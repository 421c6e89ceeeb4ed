#pragma once

#include <juce_gui_basics/juce_gui_basics.h>

#include <optional>
#include <string>
#include <vector>

namespace spillwright::desk {

enum class CommandId {
    open,
    openDemo,
    propose,
    terms,
    render,
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
    partnerBefore,
    partnerAfter,
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
    difference,
    matchLoudness,
    blindTest,
    mono,
    sideOnly,
    bandOnly,
    spillSolo,
    sweep,
    undo,
    redo,
    remarks,
    audioDevice,
    darkTwin,
    largerWindow,
    smallerWindow,
    keys,
    leave
};

/// One row of the one table of keys: what the window obeys is what the sheet of keys shows.
struct Command {
    CommandId id;
    std::string group;
    std::string words;
    std::string shown;                  ///< The key as people call it.
    std::string characters;             ///< Any of these typed without ctrl ...
    std::vector<juce::KeyPress> keys{}; ///< ... or any of these pressed.
};
const std::vector<Command>& commands();
const Command& command(CommandId id);
std::optional<CommandId> commandFor(const juce::KeyPress& key);

} // namespace spillwright::desk
