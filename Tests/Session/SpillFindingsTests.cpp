#include "Session/SpillFindings.h"

#include "Support/HeardBand.h"

#include <nlohmann/json.hpp>

using namespace spillwright;
using namespace spillwright::test;

namespace {

bool holds(const std::string& text, const std::string& words) {
    return text.find(words) != std::string::npos;
}

} // namespace

TEST_CASE("what brings most of others goes in first, and says what may then stay low") {
    HeardBand band;
    const auto& m = band.measured;
    const auto order = orderOfEntry(m);
    REQUIRE(order.size() == 5); // the silent one is not mixed
    CHECK(order.front().track == 4);
    CHECK(order.front().spillShare == 1.0); // no source of its own
    for (std::size_t k = 1; k < order.size(); ++k)
        CHECK(order[k].spillShare <= order[k - 1].spillShare);
    CHECK(order[1].track == 2);
    const auto words = entryInWords(m, order[1]);
    INFO(words);
    CHECK(holds(words, "% spill: ride at -8."));
    CHECK(holds(words, "start low with the close tracks of ride"));
    // The share of the ride in the trumpet's track follows from the levels of the sources themselves.
    const auto& brought = order[1].brings.front();
    CHECK(brought.source == 2);
    REQUIRE(order[1].spillShare);
    CHECK(brought.share == Approx(*order[1].spillShare).margin(0.01));
    // Where nobody is sure whether a track stands close to something, its share is not told as certain.
    auto unsure = m;
    auto heard = *m.sources;
    heard.unsure = {order[1].track};
    unsure.sources = std::make_shared<const HeardSources>(heard);
    CHECK(spillShareUnsure(unsure, order[1].track));
    CHECK_FALSE(spillShareUnsure(unsure, order[0].track));
    CHECK(entryInWords(unsure, order[1]) == "perhaps " + words);
    // The kick's tracks hold nothing else.
    CHECK(order.back().spillShare.value_or(1.0) < 0.02);
    CHECK(entryInWords(m, order.back()).find("start low") == std::string::npos);
}

TEST_CASE("who can help a close track is ranked, with the flip and the nudge that line the two up") {
    HeardBand band;
    const auto helpers = rescueFor(band.measured, 0); // the kick
    REQUIRE(helpers.size() >= 2);
    const auto& out = helpers.front();
    const int first = band.measured.sources->map.plan.sources[0].closeTracks.front();
    CHECK(out.track == 1 - first);
    CHECK(out.bandwidth == 1.0);
    CHECK(out.flip);
    REQUIRE(out.nudge);
    const double late = first == 0 ? spillingBand::kickOutLate : -spillingBand::kickOutLate;
    CHECK(out.nudge->value * 48000.0 == Approx(-late).margin(0.1));
    // In line the amplitudes add: 20 lg(1 + r), r the one over the other.
    const double ratio = first == 0 ? 0.9 : 1.0 / 0.9;
    CHECK(out.gainLinedUp.value == Approx(20.0 * std::log10(1.0 + ratio)).margin(0.1));
    // As recorded the delay of 0.6 ms combs: on the whole the powers add.
    CHECK(out.gain.value == Approx(10.0 * std::log10(1.0 + ratio * ratio)).margin(0.5));
    REQUIRE(out.level);
    for (const auto& tone : out.tone)
        if (tone) CHECK(std::abs(tone->value) < 0.5); // flat: no filter was between
    auto words = toneInWords(band.measured, out);
    std::replace(words.begin(), words.end(), '-', '+'); // of a zero
    CHECK(words == "lows +0, mids +0, highs +0 dB");
    auto dull = out;
    for (std::size_t b = 0; b < dull.tone.size(); ++b)
        dull.tone[b] =
            band.measured.sources->map.centres[b].value > 2400.0 ? std::optional(Decibels(-6.0)) : std::nullopt;
    CHECK(toneInWords(band.measured, dull) == "highs -6 dB");
}

TEST_CASE("a player without a close track is missed, and said to be") {
    HeardBand band;
    CHECK(unexplainedInWords(band.measured).empty());
    const auto missing = band.hear(SourceList{{{"kick", {"kick in", "kick out"}}}});
    const auto lines = unexplainedInWords(missing);
    REQUIRE(lines.size() == 1);
    INFO(lines.front());
    CHECK(holds(lines.front(), "trumpet "));
    CHECK(holds(lines.front(), "ride "));
    CHECK(holds(lines.front(), "somebody plays who has no close track"));
    CHECK_FALSE(holds(lines.front(), "kick in"));
}

TEST_CASE("the one track that hears every source upside down is named, and none where all hear them alike") {
    // Four players, each before a microphone of its own, which hears the others at -10 dB some milliseconds late.
    constexpr std::size_t players = 4, wrong = 2;
    std::vector<std::vector<float>> played, straight;
    for (unsigned k = 0; k < players; ++k)
        played.push_back(spillingBand::player(50 + k));
    for (std::size_t t = 0; t < players; ++t) {
        straight.push_back(played[t]);
        for (std::size_t k = 0; k < players; ++k)
            if (k != t)
                straight.back() =
                    mixed(straight.back(), delayed(played[k], static_cast<int>(90 + 40 * (t + k)), 0.316f));
    }
    auto crossed = straight;
    for (auto& sample : crossed[wrong])
        sample = -sample;
    const auto heard = [&](const std::vector<std::vector<float>>& recorded) {
        Workers workers{2};
        std::vector<TrackInfo> tracks(players);
        SourceList list;
        for (std::size_t t = 0; t < players; ++t) {
            tracks[t].name = "track " + std::to_string(t);
            list.sources.push_back({"player " + std::to_string(t), {tracks[t].name}});
        }
        const MemorySource source(recorded);
        auto m = measure("band", tracks, source, {}, {}, workers, {});
        REQUIRE(m);
        auto with = hearSources(*m, list, workers, {});
        REQUIRE(with);
        return std::move(with).value();
    };
    const auto m = heard(crossed);
    const auto found = upsideDown(m);
    REQUIRE(found.size() == 1);
    CHECK(found[0].track == wrong);
    CHECK(found[0].tellers == 3);
    CHECK(found[0].against == 3);
    REQUIRE_FALSE(m.warnings.empty());
    CHECK(m.warnings.back() == "track 2: upside down, say 3 of 3 tracks that surely hear the same sources; look at its "
                               "wiring, listen, and flip it");
    CHECK(upsideDown(heard(straight)).empty());
    CHECK(upsideDown(HeardBand().measured).empty()); // two tell of the kick's second track: too few
}

TEST_CASE("microphones that hear a neighbour too loud, or wash, are named") {
    HeardBand band;
    const auto near = tooNear(band.measured);
    REQUIRE(near.size() == 1); // -8.4 dB is louder than -9.54; -20 is not
    CHECK(near.front().source == 2);
    CHECK(near.front().track == 2);
    const auto apart = heardApart(band.measured);
    REQUIRE(apart.size() == 1);
    CHECK(apart.front().source == 1);
    CHECK(apart.front().track == 4);
    CHECK(inMilliseconds(apart.front().later) == Approx(25.0).margin(0.05));
    CHECK(apart.front().further.value == Approx(8.58).margin(0.02)); // 343.2 m/s at 20 degrees
    const auto lines = spacingInWords(band.measured);
    REQUIRE(lines.size() == 2);
    CHECK(holds(lines[0], "trumpet hears ride at -8."));
    CHECK(holds(lines[1], "far hears trumpet 25 ms late (8.6 m)"));
}

TEST_CASE("the measurement's file holds the spill map, and nulls with their reasons") {
    HeardBand band;
    const auto json = measurementToJson(band.measured);
    CHECK(json["sources"].size() == 3);
    CHECK(json["sources"][0]["name"] == "kick");
    CHECK(json["sources"][0]["presence_dB"].size() == json["sources"][0]["presence_s"].size());
    CHECK_FALSE(json["sources"][1]["leads"].empty());
    CHECK(json["spill"].size() == 3 * 5);
    bool found = false;
    for (const auto& entry : json["spill"]) {
        if (entry["level_dB"].is_null()) CHECK(entry["levelUntold"].is_string());
        if (entry["arrival_ms"].is_null()) CHECK(entry["arrivalUntold"].is_string());
        if (entry["source"] != "ride" || entry["track"] != "trumpet") continue;
        found = true;
        CHECK(entry["level_dB"].get<double>() == Approx(-8.4).margin(0.3));
        CHECK(entry["arrival_ms"].get<double>() == Approx(3.0).margin(0.02));
        CHECK(entry["polarity"] == 1);
        CHECK(entry["polarityConfidence"].get<double>() > 0.8);
    }
    CHECK(found);
    CHECK(json["tracks"][4]["spillShare"] == 1.0);
    CHECK(json["tracks"][5]["spillShare"].is_null()); // silent
    CHECK(json["orderOfEntry"][0]["track"] == "far");
    CHECK(json["rescue"][0]["microphones"][0]["flip"] == true);
    CHECK(json["spacing"]["heardApart"].size() == 1);

    auto before = band.measured;
    before.sources.reset();
    const auto empty = measurementToJson(before);
    CHECK(empty["spill"].empty());
    CHECK(empty["tracks"][4]["spillShare"].is_null());
}
