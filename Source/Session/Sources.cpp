#include "Session/Sources.h"
#include "Core/Sources/CloseTracks.h"
#include "Session/Document.h"
#include "Session/Readings.h"
#include "Session/SpillFindings.h"
#include "Session/TextFile.h"
#include "Session/Words.h"

#include <nlohmann/json.hpp>

#include <algorithm>
#include <cmath>
#include <set>

namespace spillwright {

namespace {

using nlohmann::json;
using nlohmann::ordered_json;

constexpr auto formatName = "spillwright/sources";
constexpr int formatVersion = 1;
constexpr auto mend = "give a sources file as measure --save-sources writes it";

Result<SourcePlan> planOf(const SourceList& list, const Measurement& m, std::vector<std::string>& names) {
    SourcePlan plan;
    for (const auto& named : list.sources) {
        Source source;
        for (const auto& name : named.closeTracks) {
            const auto track = findTrack(name, m.tracks);
            if (!track) return track.fault();
            if (std::find(m.usable.begin(), m.usable.end(), *track) != m.usable.end())
                source.closeTracks.push_back(*track);
        }
        if (source.closeTracks.empty()) continue;
        plan.sources.push_back(std::move(source));
        names.push_back(named.name);
    }
    if (plan.sources.empty() && !list.sources.empty())
        return Fault{m.folder, "every close track of the list is silent or unreadable",
                     "name tracks with sound in them"};
    return plan;
}

} // namespace

Result<SourceList> sourcesFromJson(std::string_view text, const std::string& where) {
    const auto document = parseDocument(text, where, {formatName, formatVersion, "sources file", mend});
    if (!document) return document.fault();
    return sourcesFromDocument(*document, where, mend);
}

Result<SourceList> sourcesFromDocument(const json& root, const std::string& where, const std::string& mended) {
    const auto fault = [&](std::string what) { return Fault{where, std::move(what), mended}; };
    const auto sources = root.find("sources");
    if (sources == root.end() || !sources->is_array()) return fault("\"sources\" is not a list");

    SourceList list;
    std::set<std::string> names, tracks;
    for (std::size_t i = 0; i < sources->size(); ++i) {
        const auto& object = (*sources)[i];
        const std::string place = "source " + std::to_string(i + 1) + ": ";
        if (!object.is_object()) return fault(place + "is not an object");
        NamedSource source;
        Members members(object, place);
        members.text("name", source.name);
        if (!members.problem().empty()) return fault(members.problem());
        if (source.name.empty()) return fault(place + "\"name\" is missing");
        if (!names.insert(source.name).second) return fault("source \"" + source.name + "\" is there twice");
        const auto close = object.find("closeTracks");
        if (close == object.end() || !close->is_array() || close->empty())
            return fault(place + "\"closeTracks\" is not a list of tracks");
        for (const auto& track : *close) {
            if (!track.is_string()) return fault(place + "\"closeTracks\" holds what is no text");
            source.closeTracks.push_back(track.get<std::string>());
            if (!tracks.insert(source.closeTracks.back()).second)
                return fault("track \"" + source.closeTracks.back() + "\" stands close to two sources");
        }
        list.sources.push_back(std::move(source));
    }
    return list;
}

ordered_json sourcesToJson(const SourceList& list) {
    ordered_json sources = ordered_json::array();
    for (const auto& source : list.sources)
        sources.push_back({{"name", source.name}, {"closeTracks", source.closeTracks}});
    return {{"format", formatName}, {"version", formatVersion}, {"sources", std::move(sources)}};
}

Result<SourceList> readSourcesFile(const std::string& path) {
    const auto text = readTextFile(path, "sources file");
    if (!text) return text.fault();
    return sourcesFromJson(*text, path);
}

std::vector<std::string> namesOfSources(const SourcePlan& plan, std::span<const TrackInfo> tracks) {
    const auto trackName = [&](int track) { return tracks[static_cast<std::size_t>(track)].name; };
    std::vector<std::string> names;
    for (const auto& source : plan.sources) {
        std::vector<std::string> close;
        for (const int track : source.closeTracks)
            close.push_back(trackName(track));
        const auto common = commonWords(close);
        names.push_back(common.empty() ? close.front() : common);
    }
    for (std::size_t k = 0; k < names.size(); ++k)
        if (std::count(names.begin(), names.end(), names[k]) > 1) {
            const auto shared = names[k]; // "tom" of three pairs: each by its first track
            for (std::size_t l = 0; l < names.size(); ++l)
                if (names[l] == shared) names[l] = trackName(plan.sources[l].closeTracks.front());
        }
    return names;
}

Result<Measurement> hearSources(const Measurement& m, const std::optional<SourceList>& list, Workers& workers,
                                const Watch& watch) {
    const auto* windows = m.spectra->windowSpectra();
    if (windows == nullptr)
        return Fault{m.folder, "sources cannot be told apart in some moments alone", "read the whole recording"};

    HeardSources heard;
    SourcePlan plan;
    double guessShare = 0.0; // of the time, for the progress
    if (list) {
        auto named = planOf(*list, m, heard.names);
        if (!named) return named.fault();
        plan = std::move(named).value();
        heard.guessed = false;
    } else {
        guessShare = 0.3;
        std::vector<CloseHint> hints;
        for (const auto& track : m.tracks)
            hints.push_back(closeHintOf(track.name));
        const Watch guessWatch{[&](double done) { watch.tell(done * guessShare); }, watch.stop};
        auto guess = guessCloseTracks(*windows, m.usable, hints, workers, guessWatch);
        if (!guess) return guess.fault();
        plan = std::move(guess->plan);
        // A name that says close where the sound says no: worth the question too.
        for (const int track : m.usable)
            if (std::find(guess->unsure.begin(), guess->unsure.end(), track) != guess->unsure.end() ||
                (hints[static_cast<std::size_t>(track)] == CloseHint::close && !sourceOf(plan, track)))
                heard.unsure.push_back(track);
        heard.names = namesOfSources(plan, m.tracks);
    }
    Measurement with = m;
    const auto finish = [&] {
        with.sources = std::make_shared<const HeardSources>(std::move(heard));
        return std::move(with);
    };
    const double wanted = averagesPerSource * static_cast<double>(plan.sources.size());
    if (plan.sources.size() > 1 && m.spectra->effectiveAverages() < wanted) {
        const double length = static_cast<double>(m.spectra->to() - m.spectra->from()) / m.spectra->sampleRate();
        const double seconds = length * wanted / std::max(1.0, m.spectra->effectiveAverages());
        const bool told = m.spectra->windows() == 0 || m.spectra->windowShortened(); // that it is short
        if (!told)
            with.warnings.push_back(m.folder + ": too short to tell " + std::to_string(plan.sources.size()) +
                                    " sources apart; choose a stretch of " + std::to_string(std::lround(seconds) + 1) +
                                    " s or more");
        heard.map.plan = std::move(plan);
        return finish();
    }
    const Watch mapWatch{[&](double done) { watch.tell(guessShare + done * (1.0 - guessShare)); }, watch.stop};
    auto map = readSpillMap(*m.spectra, plan, m.usable, {m.options.band, m.options.largestArrival}, workers, mapWatch);
    if (!map) return map.fault();
    heard.map = std::move(map).value();
    // What was guessed to stand close and yet holds next to nothing of its own is worth the question.
    constexpr double nearlyAllSpill = 0.9;
    if (heard.guessed)
        for (const int track : m.usable)
            if (sourceOf(heard.map.plan, track) &&
                heard.map.spillShare[static_cast<std::size_t>(track)] > nearlyAllSpill &&
                std::find(heard.unsure.begin(), heard.unsure.end(), track) == heard.unsure.end())
                heard.unsure.push_back(track);
    std::sort(heard.unsure.begin(), heard.unsure.end());
    auto told = finish();
    const auto wiring = wiringInWords(told);
    told.warnings.insert(told.warnings.end(), wiring.begin(), wiring.end());
    return told;
}

SourceList listOf(const Measurement& m) {
    SourceList list;
    if (!m.sources) return list;
    const auto& plan = m.sources->map.plan;
    for (std::size_t k = 0; k < plan.sources.size(); ++k) {
        list.sources.push_back({m.sources->names[k], {}});
        for (const int track : plan.sources[k].closeTracks)
            list.sources.back().closeTracks.push_back(m.tracks[static_cast<std::size_t>(track)].name);
    }
    return list;
}

SourceList movedTo(SourceList list, const std::string& track, std::optional<std::size_t> source) {
    for (std::size_t k = 0; k < list.sources.size(); ++k) {
        auto& close = list.sources[k].closeTracks;
        const bool there = std::find(close.begin(), close.end(), track) != close.end();
        if (k == source && !there) close.push_back(track);
        if (k != source && there) std::erase(close, track);
    }
    std::erase_if(list.sources, [](const NamedSource& one) { return one.closeTracks.empty(); });
    return list;
}

SourceList movedAlone(SourceList list, const std::string& track) {
    for (const auto& source : list.sources)
        if (source.closeTracks == std::vector<std::string>{track}) return list; // it is
    list = movedTo(std::move(list), track, std::nullopt);
    auto called = track;
    while (std::any_of(list.sources.begin(), list.sources.end(), [&](const auto& s) { return s.name == called; }))
        called += "'";
    list.sources.push_back({called, {track}});
    return list;
}

Result<int> findSource(std::string_view name, const Measurement& m) {
    std::vector<std::string> known;
    if (m.sources) {
        const auto& names = m.sources->names;
        const auto named = std::find(names.begin(), names.end(), name);
        if (named != names.end()) return static_cast<int>(named - names.begin());
        known = names;
        for (std::size_t track = 0; track < m.tracks.size(); ++track)
            if (const auto source = sourceOf(m.sources->map.plan, static_cast<int>(track))) {
                if (m.tracks[track].name == name) return *source;
                if (std::find(known.begin(), known.end(), m.tracks[track].name) == known.end())
                    known.push_back(m.tracks[track].name);
            }
    }
    for (const auto& track : m.tracks)
        if (track.name == name)
            return Fault{std::string(name), "no source is told from this track",
                         "name a close track, or say with --sources what stands close to what"};
    if (known.empty()) return Fault{std::string(name), "no source was told apart", "leave --source out"};
    return Fault{std::string(name), "no source and no close track bears this name", nearNames(name, known)};
}

Result<Measurement> focusOn(const Measurement& whole, int source, Workers& workers, const Watch& watch) {
    if (whole.sources->map.readings.empty())
        return Fault{whole.folder, "the sources were not told apart", "choose a longer stretch"};
    Measurement m;
    m.folder = whole.folder;
    m.options = whole.options;
    m.tracks = whole.tracks;
    m.sources = whole.sources;
    m.focus = source;
    m.usable = whole.usable;
    m.allSpectra = whole.spectra;
    try {
        m.spectra = std::make_shared<const CrossSpectra>(spectraOfSource(*whole.spectra, whole.sources->map, source));
    } catch (const std::bad_alloc&) {
        return Fault{m.folder, "too little memory for the readings of one source", "close other programs"};
    }
    if (auto fault = readAllPairs(m, workers, watch)) return *fault;
    return m;
}

std::optional<int> sourceOf(const SourcePlan& plan, int track) {
    for (std::size_t k = 0; k < plan.sources.size(); ++k) {
        const auto& close = plan.sources[k].closeTracks;
        if (std::find(close.begin(), close.end(), track) != close.end()) return static_cast<int>(k);
    }
    return std::nullopt;
}

} // namespace spillwright
