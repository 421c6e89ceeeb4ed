#pragma once

#include "Desk/Controller.h"

#include <string>

/// What a step of undo is called: "nudge of 'room L' to +1.20 ms". `names` are those of namesOf().
namespace spillwright::desk::stepWords {

/// "'room L'", with its partner where the pair moves together: "'room L' and 'room R'".
std::string namesOf(const std::vector<TrackInfo>& tracks, int track, bool linked);

std::string flip(const std::string& names, bool flipped);
std::string nudge(const std::string& names, Seconds nudge);
std::string gain(const std::string& names, Decibels gain);
/// "pan of 'ribbon' to L30"
std::string pan(const std::string& names, const TrackInfo& track, const TrackAdjustment& adjustment);
std::string highPass(const std::string& names, const TrackAdjustment& adjustment);
std::string mute(const std::string& names, bool muted);
std::string hold(const std::string& names, bool held);
std::string links(bool linked);
std::string hear(VersionKind kind);                                   ///< "version 3: flips, nudges to 1 ms"
std::string keep(VersionKind kind);                                   ///< "kept under 6"
std::string nameKept(VersionKind kind, const std::string& name);      ///< "name of version 6: 'dark'"
std::string rename(const std::string& file, const std::string& name); ///< "name of 'a' to 'b'"
std::string label(const std::string& names, int label);               ///< "label of 'a' to B"
std::string place(const std::string& names);                          ///< "place of 'a' in the list"
std::string group(const std::string& name);                           ///< "group 'drums'"
std::string ungroup(const std::string& name);
inline constexpr const char* equallyLoud = "all equally loud";
inline constexpr const char* follow = "set as the other take";
inline constexpr const char* opened = "as it was opened";

} // namespace spillwright::desk::stepWords
