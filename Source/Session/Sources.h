#pragma once

#include "Core/Sources/SpillMap.h"
#include "Session/Measurement.h"

#include <nlohmann/json_fwd.hpp>

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace spillwright {

/// An instrument and the tracks that stand close to it, by name.
struct NamedSource {
    std::string name;
    std::vector<std::string> closeTracks; ///< The first is the one that the source is told from.
    bool operator==(const NamedSource&) const = default;
};

/// The user's choice of who stands close to what: what a sources file holds.
struct SourceList {
    std::vector<NamedSource> sources;
    bool operator==(const SourceList&) const = default;
};

/// `where` names the text in faults (a file name). Faults: not JSON, another format or version, a source without a
/// name or without a track, a name or a track that is there twice.
Result<SourceList> sourcesFromJson(std::string_view text, const std::string& where);
/// The same of an object within another file. `mend` is said in faults.
Result<SourceList> sourcesFromDocument(const nlohmann::json& root, const std::string& where, const std::string& mend);
nlohmann::ordered_json sourcesToJson(const SourceList& list);
Result<SourceList> readSourcesFile(const std::string& path);

/// Which instruments play, and where each is heard.
struct HeardSources {
    std::vector<std::string> names; ///< One a source of the map.
    std::vector<int> unsure;        ///< Could as well be close ones, by sound or by name; none of a given list.
    bool guessed = true;            ///< By the sound; false: as the user's list says.
    SpillMap map;
};

/// Fewer effective averages (CrossSpectra) a source than this, and players who share no sound seem to spill into each
/// other: of independent noise in changing levels, levels of -11 dB are told at 3.6, none above -17 dB from 7 on.
inline constexpr double averagesPerSource = 7.0;

/// The measured recording with its sources, as the list has them or, without one, as the sound says and the tracks'
/// names hint. Listed tracks that are silent or unreadable are left out. The audio is not read. Of a recording too
/// short for so many sources the map holds the plan alone, and a warning says how long would do. Faults: a listed track
/// that the recording has not, nothing listed that sounds, readings of some moments alone (the sources are those of the
/// whole), a stop, too little memory.
Result<Measurement> hearSources(const Measurement& measured, const std::optional<SourceList>& list, Workers& workers,
                                const Watch& watch);

/// What a plan's sources are called where nobody named them: by the words that all their close tracks begin with
/// ("kick" for "kick in" and "kick out"), or by the first close track. All names differ.
std::vector<std::string> namesOfSources(const SourcePlan& plan, std::span<const TrackInfo> tracks);

/// The choice that is in force, to be kept.
SourceList listOf(const Measurement& measurement);

/// The list with a track close to that source of it; nullopt: close to none. A source that is left without a track
/// goes.
SourceList movedTo(SourceList list, const std::string& track, std::optional<std::size_t> source);
/// The list with a track close to a source of its own, called after it.
SourceList movedAlone(SourceList list, const std::string& track);

/// Which source bears the name, or has a close track that does. Fault: none; the near names are listed.
Result<int> findSource(std::string_view name, const Measurement& measurement);

/// The recording as if the source sounded alone: each pair's readings, and with them summation model and proposals,
/// are that source's. Warnings are what these readings say. Faults: those of readPairs.
Result<Measurement> focusOn(const Measurement& whole, int source, Workers& workers, const Watch& watch);

/// The source that a track stands close to; nullopt of room and overhead tracks.
std::optional<int> sourceOf(const SourcePlan& plan, int track);

} // namespace spillwright
