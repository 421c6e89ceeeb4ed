#pragma once

#include "Session/SpillFindings.h"

#include "Support/MemorySource.h"
#include "Support/SpillingBand.h"

#include <catch2/catch.hpp>

namespace spillwright::test {

/// The spilling band measured, and heard with close tracks as guessed; made once.
struct HeardBand {
    Workers workers{2};
    Measurement measured;

    HeardBand() {
        static const Measurement made = make();
        measured = made;
    }
    Measurement hear(const std::optional<SourceList>& list) {
        auto heard = hearSources(measured, list, workers, {});
        if (!heard) FAIL(heard.fault().line());
        return std::move(heard).value();
    }
    const SpillReading& reading(const Measurement& m, const std::string& source, const std::string& track) {
        const auto k = findSource(source, m);
        const auto t = findTrack(track, m.tracks);
        REQUIRE(k.ok());
        REQUIRE(t.ok());
        const auto* found = m.sources->map.reading(*k, *t);
        REQUIRE(found);
        return *found;
    }

private:
    static Measurement make() {
        Workers own{2};
        std::vector<TrackInfo> tracks;
        for (const auto& name : spillingBand::names()) {
            tracks.emplace_back();
            tracks.back().name = name;
            tracks.back().file = name + ".wav";
        }
        const MemorySource source(spillingBand::tracks());
        auto m = measure("band", tracks, source, {}, {}, own, {});
        if (!m) FAIL(m.fault().line());
        auto heard = hearSources(*m, std::nullopt, own, {});
        if (!heard) FAIL(heard.fault().line());
        return std::move(heard).value();
    }
};

} // namespace spillwright::test
