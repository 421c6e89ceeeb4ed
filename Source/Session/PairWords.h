#pragma once

#include "Core/Measure/PairReading.h"
#include "Session/Amounts.h"

#include <string>
#include <vector>

namespace spillwright {

/// What is read of two tracks, in words.
struct PairWords {
    static constexpr int mostRows = 7;
    std::string names;    ///< "snare over \u00b7 snare under"
    std::string sentence; ///< "same sound 0.31 ms later, upside down"
    std::string sureness; ///< "sure", "not sure", empty for unrelated tracks.
    struct Row {
        std::string name;  ///< "arrival"
        std::string value; ///< "0.31 \u00b1 0.01 ms later \u00b7 sure, 93 %"
    };
    std::vector<Row> rows; ///< At most mostRows.
    std::string now;       ///< "now +1.9 dB \u00b7 as recorded \u22123.1 \u00b7 flipped +1.9"
    bool sure = false;
};

/// Without names and without what is heard now. `ofAllMoments`: whether the pair holds still in the course of the
/// recording is a question. `unit`: in which distances are told first.
PairWords pairInWords(const PairReading& reading, double sampleRate, Celsius temperature, bool ofAllMoments,
                      DistanceUnit unit = DistanceUnit::metric);

/// The same as lines of plain text, a number with its name each. Empty while there is no pair.
std::string lines(const PairWords& pair);

/// How far a reading is to be trusted: "almost certain", "sure", "likely", "a guess".
std::string certainty(double confidence);
bool isSure(double confidence); ///< "sure" or more.
/// Sure of both the arrival and the polarity.
bool isSure(const PairReading& reading);

inline constexpr double noDelayMs = 0.005; ///< What is less is called none.
/// "0.31 ms later", "no delay"; to the digits that the uncertainty leaves, at most two decimals.
std::string delayInWords(double ms, double uncertaintyMs = 0.0);
const char* wayUp(Polarity polarity); ///< "upside down", "same way up".

/// "0.312 \u00b1 0.004 ms later"
std::string timeWithUncertainty(Seconds time, Seconds uncertainty);

} // namespace spillwright
