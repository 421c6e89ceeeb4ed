#include "Audition/Loader.h"

#include <algorithm>
#include <chrono>
#include <cmath>

namespace spillwright {

Loader::Reach Loader::reachFor(int tracks, double sampleRate) {
    constexpr double mostBytes = 150e6, leastShare = 0.25;
    constexpr double margins = 2.3; // seconds, of three stretches with nudges to 100 ms, to whole blocks
    const Reach all;
    const double reach = all.ahead.value + 2.0 * all.head.value;
    const double affordable = mostBytes / std::max(tracks * sampleRate * static_cast<double>(sizeof(float)), 1.0);
    const double share = std::clamp((affordable - margins) / reach, leastShare, 1.0);
    return {Seconds(share * all.ahead.value), Seconds(share * all.head.value), Seconds(share * all.start.value)};
}

int Loader::slotsFor(const Reach& reach, double sampleRate, std::int64_t before, std::int64_t after) {
    const auto span = [&](Seconds ahead) { // blocks that a stretch may touch, one more for its first
        return (before + after + std::llround(ahead.value * sampleRate)) / SongBlocks::blockSamples + 2;
    };
    return static_cast<int>(span(reach.ahead) + 2 * span(reach.head) + 1); // one more to load into
}

Loader::Loader(std::shared_ptr<const SampleSource> samples, SongBlocks& songBlocks, PlayState& playState,
               const Reach& keepReady)
    : source(std::move(samples)), reach(keepReady), blocks(songBlocks), state(playState),
      thread([this](const std::stop_token& stop) { run(stop); }) {}

Loader::~Loader() {
    thread.request_stop();
    wake();
}

void Loader::wake() {
    wishes.release();
}

std::optional<Fault> Loader::fault() const {
    const std::lock_guard lock(faultMutex);
    return lastFault;
}

void Loader::retry() {
    {
        const std::lock_guard lock(faultMutex);
        lastFault.reset();
    }
    hasFailed = false;
    wake();
}

void Loader::fail(const Fault& fault) {
    {
        const std::lock_guard lock(faultMutex);
        lastFault = fault;
    }
    readers.clear();
    state.play = false;
    hasFailed.store(true, std::memory_order_release);
}

void Loader::run(const std::stop_token& stop) {
    while (!stop.stop_requested()) {
        bool loaded = false;
        if (!failed()) {
            Outcome outcome = readers.empty() ? openReaders() : done();
            if (outcome) outcome = loadNext(loaded);
            if (!outcome) fail(outcome.fault());
        }
        if (loaded) continue;
        // Everything is there. Playing makes new needs without a word, since the audio thread must not wake anybody.
        using namespace std::chrono_literals;
        if (wishes.try_acquire_for(state.play ? 5ms : 50ms))
            while (wishes.try_acquire()) {
            }
    }
}

Outcome Loader::openReaders() {
    for (int group = 0; group < static_cast<int>(source->groups().size()); ++group) {
        auto reader = source->openGroup(group);
        if (!reader) return reader.fault();
        readers.push_back(std::move(*reader));
    }
    return done();
}

Loader::Stretch Loader::around(std::int64_t sample, Seconds ahead) const {
    const auto samples = std::llround(ahead.value * source->sampleRate());
    return {std::max<std::int64_t>(SongBlocks::blockOf(sample - state.before), 0),
            std::min(SongBlocks::blockOf(sample + samples + state.after), blocks.blockCount() - 1)};
}

std::array<Loader::Stretch, 4> Loader::wanted() const {
    const std::int64_t position = state.position, asked = state.seek;
    return {around(position, reach.start), asked == PlayState::nowhere ? Stretch{0, -1} : around(asked, reach.head),
            around(state.loopFrom, reach.head), around(position, reach.ahead)};
}

bool Loader::caughtUp() const {
    const auto stretches = wanted();
    return !failed() &&
           std::all_of(stretches.begin(), stretches.end() - 1, [&](const Stretch& stretch) { return holds(stretch); });
}

bool Loader::readyAt(std::int64_t sample) const {
    return !failed() && holds(around(sample, reach.start)) && holds(around(state.loopFrom, reach.head));
}

bool Loader::holds(const Stretch& stretch) const {
    for (std::int64_t block = stretch.first; block <= stretch.last; ++block)
        if (!blocks.holdsBlock(block)) return false;
    return true;
}

Outcome Loader::loadNext(bool& loaded) {
    const auto stretches = wanted();
    for (const Stretch& stretch : stretches)
        for (std::int64_t block = stretch.first; block <= stretch.last; ++block) {
            if (blocks.holdsBlock(block)) continue;
            float* place = blocks.place([&](std::int64_t other) {
                return std::any_of(stretches.begin(), stretches.end(),
                                   [&](const Stretch& kept) { return other >= kept.first && other <= kept.last; });
            });
            if (!place) return done(); // what was evicted is still being read; a moment later it is not
            const auto trackStart = [&](int track) {
                return place + static_cast<std::ptrdiff_t>(track) * SongBlocks::blockSamples;
            };
            std::fill_n(place, static_cast<std::ptrdiff_t>(blocks.trackCount()) * SongBlocks::blockSamples, 0.0f);
            for (std::size_t group = 0; group < readers.size(); ++group) {
                destinations.clear();
                for (int track : source->groups()[group])
                    destinations.push_back(trackStart(track));
                auto outcome =
                    readers[group]->read(block * SongBlocks::blockSamples, SongBlocks::blockSamples, destinations);
                if (!outcome) return outcome;
            }
            blocks.publish(block);
            loaded = true;
            return done();
        }
    return done();
}

} // namespace spillwright
