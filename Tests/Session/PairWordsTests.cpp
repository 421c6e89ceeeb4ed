#include "Session/PairWords.h"

#include <catch2/catch.hpp>

using namespace spillwright;

namespace {

PairReading late() {
    PairReading reading;
    reading.related = true;
    reading.shared = Shared::sound;
    reading.coherence = 0.62;
    reading.coherenceLow = 0.6;
    reading.coherenceHigh = 0.64;
    reading.arrival = Arrival{milliseconds(2.0), milliseconds(0.01), 0.9, {}};
    reading.polarity = PolarityReading{Polarity::inverted, 0.97};
    return reading;
}

std::string valueOf(const PairWords& words, const std::string& name) {
    for (const auto& row : words.rows)
        if (row.name == name) return row.value;
    return "none";
}

} // namespace

TEST_CASE("a pair is told in a sentence and in numbers with their units") {
    const auto words = pairInWords(late(), 48000.0, Celsius(20.0), true);
    CHECK(words.sentence == "same sound 2.00 ms later, upside down");
    CHECK(words.sureness == "sure");
    CHECK(valueOf(words, "arrival") == "2.000 \u00b1 0.010 ms later \u00b7 sure, 90 %");
    CHECK(valueOf(words, "samples") == "96.0 \u00b1 0.5 later");
    // 2 ms at 343.2 m/s; 0.27 % of it for the speed of sound.
    CHECK(valueOf(words, "distance") == "68.6 \u00b1 0.4 cm \u00b7 27.02 \u00b1 0.15 in");
    CHECK(valueOf(words, "coherence") == "0.62 (0.60\u20130.64)");
    CHECK(valueOf(words, "in time") == "too few moments to tell");
    CHECK(valueOf(pairInWords(late(), 48000.0, Celsius(20.0), false), "in time") == "none");
    CHECK(valueOf(pairInWords(late(), 48000.0, Celsius(20.0), true, DistanceUnit::inches), "distance").find("27.02") ==
          0);
    CHECK(words.rows.size() <= PairWords::mostRows);
}

TEST_CASE("what is not sure or has no arrival is told as that") {
    auto unsure = late();
    unsure.polarity->confidence = 0.7;
    CHECK(pairInWords(unsure, 48000.0, Celsius(20.0), true).sureness == "not sure");
    CHECK_FALSE(isSure(unsure));
    PairReading apart;
    const auto words = pairInWords(apart, 48000.0, Celsius(20.0), true);
    CHECK(words.sentence == "unrelated: nothing in common beyond chance");
    CHECK(words.sureness.empty());
    CHECK(certainty(0.96) == "almost certain");
    CHECK(certainty(0.8) == "sure");
    CHECK(isSure(0.8));
    CHECK_FALSE(isSure(0.79));
    CHECK(certainty(0.5) == "a guess");
}

TEST_CASE("a delay has the digits that its uncertainty leaves, and what may be none is perhaps") {
    auto reading = late();
    const auto sentence = [&](double ms, double uncertaintyMs, double confidence) {
        reading.arrival = Arrival{milliseconds(ms), milliseconds(uncertaintyMs), confidence, {}};
        return pairInWords(reading, 48000.0, Celsius(20.0), true).sentence;
    };
    CHECK(sentence(0.74, 3.0, 0.7) == "same sound, perhaps 1 ms later, upside down"); // above it stands "1 ± 3 ms"
    CHECK(sentence(0.74, 0.3, 0.7) == "same sound 0.7 ms later, upside down");
    CHECK(sentence(0.74, 0.01, 0.5) == "same sound, perhaps 0.74 ms later, upside down");
    CHECK(sentence(-0.3, 3.0, 0.7) == "same sound, perhaps no delay, upside down");
    CHECK(sentence(0.001, 0.01, 0.9) == "same sound, no delay, upside down");
    CHECK(delayInWords(-7.26, 0.25) == "7.3 ms earlier");
    CHECK(delayInWords(-7.26) == "7.26 ms earlier");
}
