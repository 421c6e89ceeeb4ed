#include "Session/Takes.h"

#include "Session/TakeDifferences.h"

#include <algorithm>
#include <cmath>
#include <cstdio>

namespace spillwright {

namespace {

constexpr std::size_t mostTakes = 26;

std::size_t place(int index) {
    return static_cast<std::size_t>(index);
}

Result<Comparison> compared(Comparison c, const CompareOptions& options, const std::vector<SourceList>& lists,
                            Workers& workers, const Watch& watch) {
    const auto read = readTakes(c, options, lists, workers, watch);
    if (!read) return read.fault();
    for (std::size_t second = 1; second < c.takes.size(); ++second) {
        if (watch.stopped()) return Fault{"compare", "stopped", "", Fault::Kind::cancelled};
        c.differences.push_back(differenceOf(c, *read, second, workers));
        c.differences.back().verdict = verdictInWords(c, c.differences.back());
    }
    watch.tell(1.0);
    return c;
}

std::optional<Fault> tooShort(const Measurement& m) {
    const double seconds = static_cast<double>(m.spectra->to() - m.spectra->from()) / m.spectra->sampleRate();
    if (m.spectra->windows() > 0 && seconds >= shortestTake.value) return std::nullopt;
    char text[80];
    std::snprintf(text, sizeof text, "%.2f s are too short to compare, which takes %.0f s at least", seconds,
                  shortestTake.value);
    return Fault{m.folder, text, "choose a longer take or a longer stretch of it"};
}

} // namespace

std::pair<int, int> Comparison::pairOf(std::size_t pair) const {
    int first = 0;
    auto left = pair;
    for (auto row = tracks.size() - 1; left >= row; --row) {
        left -= row;
        ++first;
    }
    return {first, first + 1 + static_cast<int>(left)};
}

Result<Comparison> compareTakes(std::vector<Measurement> takes, const CompareOptions& options, Workers& workers,
                                const Watch& watch) {
    if (takes.size() < 2 || takes.size() > mostTakes)
        return Fault{"compare", "needs two takes or more, up to " + std::to_string(mostTakes), "name their folders",
                     Fault::Kind::usage};
    for (const auto& take : takes)
        if (auto fault = tooShort(take)) return *fault;
    auto matched = matchTracks(takes, options.match);
    if (!matched) return matched.fault();
    Comparison c;
    c.tracks = std::move(matched).value();

    std::string byOrder, unmatched;
    for (const auto& track : c.tracks) {
        if (track.by == MatchedBy::order)
            for (std::size_t k = 1; k < takes.size(); ++k)
                if (track.tracks[k] >= 0 && takes[k].tracks[place(track.tracks[k])].name != track.name) {
                    byOrder += (byOrder.empty() ? "" : ", ") + track.name + " = " +
                               takes[k].tracks[place(track.tracks[k])].name;
                    break;
                }
        if (std::find(track.tracks.begin(), track.tracks.end(), -1) != track.tracks.end())
            unmatched += (unmatched.empty() ? "" : ", ") + track.name;
    }
    for (std::size_t k = 1; k < takes.size(); ++k)
        if (std::none_of(c.tracks.begin(), c.tracks.end(), [&](const ComparedTrack& track) {
                return soundsIn(takes.front(), track.tracks.front()) && soundsIn(takes[k], track.tracks[k]);
            }))
            return Fault{takes[k].folder, "no track sounds both here and in " + takes.front().folder,
                         "choose another take, or say which track is which (--match)"};
    if (!byOrder.empty())
        c.warnings.push_back("matched by their order alone: " + byOrder + "; --match says it otherwise");
    if (!unmatched.empty()) c.warnings.push_back("not in every take: " + unmatched + "; --match says what they are");
    const double usual = takes.front().spectra->sampleRate();
    for (std::size_t k = 0; k < takes.size(); ++k) {
        if (const double rate = takes[k].spectra->sampleRate(); rate != usual)
            c.warnings.push_back(takes[k].folder + ": " + std::to_string(std::lround(rate)) + " Hz against " +
                                 std::to_string(std::lround(usual)) + " Hz; compared in seconds and hertz");
        ComparedTake take;
        take.name = std::string(1, static_cast<char>('A' + k));
        take.recording = std::move(takes[k]);
        c.takes.push_back(std::move(take));
    }
    return compared(std::move(c), options, {}, workers, watch);
}

Result<Comparison> compareMicrophones(const Measurement& recording, std::span<const std::string> microphones,
                                      const CompareOptions& options, Workers& workers, const Watch& watch) {
    if (microphones.size() < 2)
        return Fault{"--microphone", "names one track", "name two or more for one job", Fault::Kind::usage};
    if (microphones.size() > mostTakes)
        return Fault{"--microphone", "names more than " + std::to_string(mostTakes) + " tracks", "name fewer",
                     Fault::Kind::usage};
    if (auto fault = tooShort(recording)) return *fault;
    std::vector<int> job;
    for (const auto& name : microphones) {
        const auto track = findTrack(name, recording.tracks);
        if (!track) return track.fault();
        if (!soundsIn(recording, *track))
            return Fault{name, "is silent or unreadable", "name a track with sound in it"};
        if (std::find(job.begin(), job.end(), *track) != job.end())
            return Fault{name, "is named twice", "name two different tracks", Fault::Kind::usage};
        job.push_back(*track);
    }
    auto heard = hearSources(recording, options.sources, workers, {{}, watch.stop});
    if (!heard) return heard.fault();
    const auto whole = listOf(*heard);

    Comparison c;
    c.microphones = true;
    const auto takesPart = [&](int track, int microphone) {
        return track == microphone || std::find(job.begin(), job.end(), track) == job.end();
    };
    std::vector<SourceList> lists;
    for (std::size_t k = 0; k < job.size(); ++k) {
        ComparedTake take;
        take.name = microphones[k];
        std::vector<int> tracks;
        for (const int track : recording.usable)
            if (takesPart(track, job[k])) tracks.push_back(track);
        take.recording = withTracks(recording, std::move(tracks));
        c.takes.push_back(std::move(take));
        // Whatever of them the source was told from, this one stands in its place.
        SourceList list;
        for (const auto& source : whole.sources) {
            NamedSource named{source.name, {}};
            for (const auto& close : source.closeTracks) {
                const bool ofJob = std::find(microphones.begin(), microphones.end(), close) != microphones.end();
                const auto& here = ofJob ? microphones[k] : close;
                if (std::find(named.closeTracks.begin(), named.closeTracks.end(), here) == named.closeTracks.end())
                    named.closeTracks.push_back(here);
            }
            const bool elsewhere = std::any_of(list.sources.begin(), list.sources.end(), [&](const NamedSource& s) {
                return std::find(s.closeTracks.begin(), s.closeTracks.end(), microphones[k]) != s.closeTracks.end();
            });
            if (elsewhere) std::erase(named.closeTracks, microphones[k]);
            if (!named.closeTracks.empty()) list.sources.push_back(std::move(named));
        }
        lists.push_back(std::move(list));
    }
    for (std::size_t t = 0; t < recording.tracks.size(); ++t) {
        const int track = static_cast<int>(t);
        if (std::find(job.begin() + 1, job.end(), track) != job.end()) continue;
        ComparedTrack compared{recording.tracks[t].name, std::vector<int>(job.size(), track), MatchedBy::name};
        if (track == job.front()) {
            compared.tracks = job;
            compared.by = MatchedBy::hand;
        }
        c.tracks.push_back(std::move(compared));
    }
    return compared(std::move(c), options, lists, workers, watch);
}

} // namespace spillwright
