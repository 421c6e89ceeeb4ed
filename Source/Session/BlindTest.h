#pragma once

#include "Core/Binomial.h"
#include "Core/Result.h"
#include "Core/Types.h"
#include "Session/Setting.h"

#include <array>
#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace spillwright {

/// One of the two that are compared.
struct BlindVersion {
    std::string name;
    Setting setting;
    std::optional<double> loudness; ///< LUFS over what is heard, before the gain; none: not known, or silent.
    Decibels gain;                  ///< By which it is played to be as loud as the other.
};

enum class BlindQuestion {
    preference,     ///< X and Y are A and B in hidden order; which does the listener prefer?
    identification, ///< X is A or B, hidden; which of A and B, that may be heard too, is it?
};

struct BlindPlan {
    BlindQuestion question = BlindQuestion::identification;
    int trials = 16; ///< 1 to mostTrials.
    /// Anything the listener does not know and the caller has not chosen: by it anyone can tell the order.
    std::uint64_t seed = 0;
    std::string recording; ///< Its name, and ...
    std::string heard;     ///< ... what of it is heard ("0:12.00 to 0:20.50, over and over").
    std::string date;      ///< As it is written down.
    BlindVersion a, b;

    static constexpr int mostTrials = 1000;
    /// What is louder is preferred, so that more than this between the two makes a comparison worthless (Clark 1982,
    /// "High-resolution subjective testing using a double-blind comparator", JAES 30: 0.1 dB; from memory).
    static constexpr Decibels tolerance = Decibels(0.1);
};

/// Turns the louder of the two down to the other, so that nothing comes nearer to the limiter; leaves both where one is
/// not known.
void matchLoudness(BlindPlan& plan);

/// Which of the two.
enum class Candidate { a, b };
/// What the listener may ask to hear.
enum class BlindSound { a, b, x, y };

/// Which version X is in each trial: a coin is thrown for each, the highest bit of the next number of SplitMix64 from
/// the seed, 0: A. The coin does not know the trials before, as the exact binomial probability asks for.
std::vector<Candidate> hiddenOrder(std::uint64_t seed, int trials);

struct BlindTrial {
    Candidate x = Candidate::a;        ///< Where a preference is asked for, Y is the other.
    BlindSound answer = BlindSound::x; ///< X or Y for a preference, A or B for an identification.
    Candidate chosen = Candidate::a;   ///< What the answer stands for.
    Seconds time;                      ///< From the beginning of the trial to the answer.

    bool right() const { return chosen == x; } ///< Of an identification.
};

/// Right answers, or those for A and for B, and what mere guessing makes of as many trials as were answered.
struct BlindResult {
    BlindQuestion question = BlindQuestion::identification;
    int planned = 0, answered = 0;
    int right = 0;                           ///< Of an identification.
    int a = 0, b = 0;                        ///< How often each was chosen.
    TestSides sides = TestSides::one;        ///< One for an identification, two for a preference.
    double probability = 1.0;                ///< That guessing comes out like this or further from the middle.
    std::optional<int> neededAt5, neededAt1; ///< Percent; of right answers, or of answers for one and the same.
    /// For listeners who in truth choose so in 6, 7, 8, 9 of 10 trials: the chance that neededAt5 is missed all the
    /// same.
    static constexpr std::array<double, 4> trueShares{0.6, 0.7, 0.8, 0.9};
    std::array<double, 4> missed{1.0, 1.0, 1.0, 1.0};

    bool endedEarly() const { return answered < planned; }
};

/// The result in plain words, a line each; `a` and `b` are what the versions are called.
std::vector<std::string> blindResultInWords(const BlindResult& result, const std::string& a, const std::string& b);

/// A comparison of two versions in which nobody knows what is heard until it is over: not the listener, and not who
/// sits beside. Nothing here tells the order before, but plays(), which is for the player alone and never for the eye.
class BlindTest {
public:
    /// Faults: the number of trials, a loudness that is not known, versions that are not equally loud.
    static Result<BlindTest> start(BlindPlan plan);

    BlindQuestion question() const { return plan.question; }
    int trials() const { return plan.trials; }
    int answered() const { return static_cast<int>(given.size()); } ///< The trial that is on, from 0, unless over().
    bool over() const { return ended || answered() == trials(); }

    /// X and Y for a preference, A, B and X for an identification.
    bool offers(BlindSound sound) const;
    /// Which version the player plays for what the listener asks to hear in the trial that is on. Asked only for what
    /// is offered, and not once over().
    Candidate plays(BlindSound sound) const;

    bool accepts(BlindSound answer) const; ///< X or Y; A or B. Nothing once over().
    /// What is not accepted is passed over. `time` from the beginning of the trial.
    void answer(BlindSound answer, Seconds time);
    /// The trial that is on is not counted; the protocol says that it was ended.
    void endEarly() { ended = true; }

    // Once over(); before, asking is a fault: what was right would tell of what is to come.
    Result<BlindResult> result() const;
    Result<std::vector<BlindTrial>> answers() const;
    /// All of it as plain UTF-8 text, lines ending with a line feed: what was compared, how loud, the order and how to
    /// recompute it, every trial, the result.
    Result<std::string> protocol() const;
    /// The protocol as a file, whole or not at all (writeTextFile).
    Outcome save(const std::filesystem::path& path) const;

private:
    explicit BlindTest(BlindPlan checked);
    BlindPlan plan;
    std::vector<Candidate> order;
    std::vector<BlindTrial> given;
    bool ended = false;
};

} // namespace spillwright
