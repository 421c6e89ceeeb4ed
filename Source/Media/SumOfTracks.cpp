#include "Media/SumOfTracks.h"

#include "Core/Pan.h"
#include "Media/AdjustedTracks.h"
#include "Session/Setting.h"

#include <algorithm>
#include <vector>

namespace spillwright {

struct SumOfTracks::Voices {
    struct Voice {
        AdjustedTracks tracks;
        std::vector<PanGains> pans;
    };
    std::vector<Voice> all;
    std::vector<std::vector<float>> samples; ///< Of one voice.
    std::vector<double> left, right;
};

SumOfTracks::SumOfTracks() : voices(std::make_unique<Voices>()) {}
SumOfTracks::~SumOfTracks() = default;

Result<std::unique_ptr<SumOfTracks>> SumOfTracks::open(const Recording& recording,
                                                       std::span<const TrackAdjustment> adjustments) {
    std::unique_ptr<SumOfTracks> sum(new SumOfTracks());
    for (std::size_t group = 0; group < recording.groups().size(); ++group) {
        std::vector<TrackAdjustment> chosen;
        std::vector<PanGains> pans;
        for (const int track : recording.groups()[group]) {
            const auto& adjustment = adjustments[static_cast<std::size_t>(track)];
            chosen.push_back(adjustment);
            pans.push_back(panGains(effectivePan(recording.tracks()[static_cast<std::size_t>(track)], adjustment)));
        }
        if (std::all_of(chosen.begin(), chosen.end(), [](const auto& adjustment) { return adjustment.muted; }))
            continue;
        auto reader = recording.openGroup(static_cast<int>(group));
        if (!reader) return reader.fault();
        sum->voices->all.push_back(
            {AdjustedTracks(std::move(*reader), chosen, recording.sampleRate()), std::move(pans)});
        sum->voices->samples.resize(std::max(sum->voices->samples.size(), chosen.size()));
    }
    return sum;
}

Outcome SumOfTracks::next(int count, float* left, float* right) {
    const auto frames = static_cast<std::size_t>(count);
    voices->left.assign(frames, 0.0);
    voices->right.assign(frames, 0.0);
    std::vector<float*> into;
    for (auto& track : voices->samples) {
        track.resize(std::max(track.size(), frames));
        into.push_back(track.data());
    }
    for (auto& voice : voices->all) {
        if (auto made = voice.tracks.next(count, std::span(into).first(voice.pans.size())); !made) return made;
        for (std::size_t i = 0; i < voice.pans.size(); ++i)
            for (std::size_t n = 0; n < frames; ++n) {
                const auto sample = static_cast<double>(into[i][n]);
                voices->left[n] += voice.pans[i].left * sample;
                voices->right[n] += voice.pans[i].right * sample;
            }
    }
    const auto toFloat = [](double sample) { return static_cast<float>(sample); };
    std::transform(voices->left.begin(), voices->left.end(), left, toFloat);
    std::transform(voices->right.begin(), voices->right.end(), right, toFloat);
    return done();
}

} // namespace spillwright
