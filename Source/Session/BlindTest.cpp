#include "Session/BlindTest.h"

#include "Core/RandomStream.h"
#include "Session/TextFile.h"
#include "Session/Words.h"

#include <nlohmann/json.hpp>

#include <algorithm>
#include <cassert>
#include <cmath>
#include <cstdio>

namespace spillwright {

namespace {

constexpr double marked = 0.05, clearly = 0.01;
constexpr double rounding = 1e-9; // dB

/// "-17.32"; "+0.40" where it is signed.
std::string decimal(double value, int digits, bool isSigned = false) {
    std::array<char, 64> text{};
    if (isSigned)
        std::snprintf(text.data(), text.size(), "%+.*f", digits, value);
    else
        std::snprintf(text.data(), text.size(), "%.*f", digits, value);
    return text.data();
}

/// Filled up with spaces to a column's width.
std::string column(std::string text, std::size_t width) {
    text.resize(std::max(width, text.size()), ' ');
    return text;
}

Candidate other(Candidate version) {
    return version == Candidate::a ? Candidate::b : Candidate::a;
}

const char* letter(Candidate version) {
    return version == Candidate::a ? "A" : "B";
}

const char* letter(BlindSound sound) {
    constexpr std::array letters{"A", "B", "X", "Y"};
    return letters[static_cast<std::size_t>(sound)];
}

/// One line of valid UTF-8: bytes that are none (a file's name) replaced.
std::string plain(const std::string& text) {
    const nlohmann::json quoted = oneLine(text);
    return nlohmann::json::parse(quoted.dump(-1, ' ', false, nlohmann::json::error_handler_t::replace))
        .get<std::string>();
}

bool known(const std::optional<double>& loudness) {
    return loudness && std::isfinite(*loudness);
}

double heardAt(const BlindVersion& version) {
    return *version.loudness + version.gain.value;
}

/// "3.84 %", "75 %", "less than 0.01 %"
std::string percent(double probability) {
    if (probability < 1e-4) return "less than 0.01 %";
    return decimal(100.0 * probability, probability < 0.1 ? 2 : 0) + " %";
}

/// The same, and as a number that may be small without end: "3.84 % (p = 0.03841; exact binomial, one-sided)".
std::string exactly(double probability, const char* sides) {
    std::array<char, 64> number{};
    std::snprintf(number.data(), number.size(), "%.4g", probability);
    return percent(probability) + " (p = " + number.data() + "; exact binomial, " + sides + ")";
}

std::string times(int count) {
    return count == 1 ? "once" : std::to_string(count) + " times";
}

Fault stillOn() {
    return {"blind test", "it is still going on, and what is behind X stays hidden until it is over",
            "answer the trials that are left, or end it early"};
}

} // namespace

std::vector<Candidate> hiddenOrder(std::uint64_t seed, int trials) {
    RandomStream random(seed);
    std::vector<Candidate> order;
    for (int trial = 0; trial < trials; ++trial)
        order.push_back((random.bits() >> 63) == 0 ? Candidate::a : Candidate::b);
    return order;
}

std::vector<std::string> blindResultInWords(const BlindResult& result, const std::string& a, const std::string& b) {
    const int n = result.answered;
    std::vector<std::string> lines;
    if (result.endedEarly())
        lines.push_back("Ended early, after " + std::to_string(n) + " of " + std::to_string(result.planned) +
                        " trials; all that follows is about these " + std::to_string(n) + ".");
    if (n == 0) {
        lines.push_back("No trial was answered, so there is no result.");
        return lines;
    }
    const bool preference = result.question == BlindQuestion::preference;
    if (preference) {
        lines.push_back("A ('" + a + "') was preferred " + times(result.a) + ", B ('" + b + "') " + times(result.b) +
                        ".");
        lines.push_back("If neither were better to this listener, it would come out as unevenly as this or more so, "
                        "for A or for B, with a probability of " +
                        exactly(result.probability, "two-sided") + ".");
    } else {
        lines.push_back(std::to_string(result.right) + " of " + std::to_string(n) + " right.");
        lines.push_back("Whoever only guesses gets as many right or more with a probability of " +
                        exactly(result.probability, "one-sided") + ".");
    }
    const std::string ofAll = " of " + std::to_string(n);
    if (!result.neededAt5) {
        lines.push_back(std::to_string(n) + (n == 1 ? " trial is" : " trials are") +
                        " too few to get below 5 %, whatever is answered.");
        return lines;
    }
    lines.push_back(std::string(preference ? "To get below 5 %, one and the same had to be preferred in "
                                           : "To get below 5 %, right had to be ") +
                    std::to_string(*result.neededAt5) + ofAll +
                    (result.neededAt1 ? "; below 1 %, " + std::to_string(*result.neededAt1) + ofAll + "."
                                      : "; below 1 % so few trials cannot get."));
    const bool reached = result.probability <= marked;
    lines.push_back(
        reached ? preference ? "Below 5 %: a preference that is hard to put down to chance."
                             : "Below 5 %: the difference was heard; chance alone hardly does this."
        : preference
            ? "Not below 5 %: a preference is not shown. That is no proof that there is none."
            : "Not below 5 %: that the difference is heard is not shown. That is no proof that it cannot be heard.");
    std::string missed = std::string("Even what is there is missed at times: of listeners who in truth ") +
                         (preference ? "prefer one" : "are right") + " in ";
    for (std::size_t k = 0; k < result.missed.size(); ++k)
        missed += (k == 0 ? "" : "; in ") + decimal(10.0 * BlindResult::trueShares[k], 0) + " of 10" +
                  (k == 0 ? " trials, " : ", ") + percent(result.missed[k]) +
                  (k == 0 ? " would not have got below 5 % in " + std::to_string(n) : "");
    lines.push_back(missed + ".");
    return lines;
}

void matchLoudness(BlindPlan& plan) {
    if (!known(plan.a.loudness) || !known(plan.b.loudness)) return;
    const double quieter = std::min(*plan.a.loudness, *plan.b.loudness);
    for (BlindVersion* version : {&plan.a, &plan.b})
        version->gain = Decibels(quieter - *version->loudness);
}

BlindTest::BlindTest(BlindPlan checked) : plan(std::move(checked)), order(hiddenOrder(plan.seed, plan.trials)) {}

Result<BlindTest> BlindTest::start(BlindPlan plan) {
    if (plan.trials < 1 || plan.trials > BlindPlan::mostTrials)
        return Fault{"blind test", std::to_string(plan.trials) + " trials cannot be done",
                     "choose 1 to " + std::to_string(BlindPlan::mostTrials)};
    for (const BlindVersion* version : {&plan.a, &plan.b})
        if (!known(version->loudness) || !std::isfinite(version->gain.value))
            return Fault{"blind test", "how loud '" + version->name + "' is over what is heard is not known",
                         "wait until its loudness is measured, or choose a loop in which it sounds"};
    const double difference = heardAt(plan.a) - heardAt(plan.b);
    if (std::abs(difference) > BlindPlan::tolerance.value + rounding) {
        const auto& louder = difference > 0.0 ? plan.a : plan.b;
        const auto& softer = difference > 0.0 ? plan.b : plan.a;
        return Fault{"blind test",
                     "'" + louder.name + "' is " + decimal(std::abs(difference), 2) + " LU louder than '" +
                         softer.name + "', and the louder one wins whatever it sounds like",
                     "match them within " + decimal(BlindPlan::tolerance.value, 1) + " LU"};
    }
    return BlindTest(std::move(plan));
}

bool BlindTest::offers(BlindSound sound) const {
    const bool hidden =
        sound == BlindSound::x || (sound == BlindSound::y && plan.question == BlindQuestion::preference);
    return hidden || (plan.question == BlindQuestion::identification && sound != BlindSound::y);
}

Candidate BlindTest::plays(BlindSound sound) const {
    assert(offers(sound) && !over());
    if (sound == BlindSound::a) return Candidate::a;
    if (sound == BlindSound::b) return Candidate::b;
    const Candidate x = order[given.size()];
    return sound == BlindSound::x ? x : other(x);
}

bool BlindTest::accepts(BlindSound answer) const {
    return !over() && offers(answer) && (plan.question == BlindQuestion::preference || answer != BlindSound::x);
}

void BlindTest::answer(BlindSound answer, Seconds time) {
    if (accepts(answer)) given.push_back({order[given.size()], answer, plays(answer), time});
}

Result<std::vector<BlindTrial>> BlindTest::answers() const {
    if (!over()) return stillOn();
    return given;
}

Result<BlindResult> BlindTest::result() const {
    if (!over()) return stillOn();
    BlindResult result;
    result.question = plan.question;
    result.planned = plan.trials;
    result.answered = answered();
    for (const BlindTrial& trial : given) {
        ++(trial.chosen == Candidate::a ? result.a : result.b);
        if (plan.question == BlindQuestion::identification && trial.right()) ++result.right;
    }
    const bool preference = plan.question == BlindQuestion::preference;
    result.sides = preference ? TestSides::two : TestSides::one;
    const int n = result.answered;
    result.probability = guessingProbability(n, preference ? result.a : result.right, result.sides);
    result.neededAt5 = leastCount(n, marked, result.sides);
    result.neededAt1 = leastCount(n, clearly, result.sides);
    for (std::size_t k = 0; k < result.missed.size(); ++k)
        result.missed[k] = 1.0 - binomialPower(n, marked, result.sides, BlindResult::trueShares[k]);
    return result;
}

Result<std::string> BlindTest::protocol() const {
    const auto outcome = result();
    if (!outcome) return outcome.fault();
    const bool preference = plan.question == BlindQuestion::preference;
    std::string text = "Blind comparison of two versions\n\n";
    text += "Date: " + plain(plan.date) + "\n";
    text += "Recording: " + plain(plan.recording) + "\n";
    text += "Heard: " + plain(plan.heard) + "\n";
    text += preference ? "Question: which of X and Y, that are A and B in hidden order, is preferred?\n"
                       : "Question: is X, that is hidden, A or B?\n";
    for (const auto& [version, of] : {std::pair{Candidate::a, &plan.a}, {Candidate::b, &plan.b}}) {
        text += "\nVersion " + std::string(letter(version)) + ": " + plain(of->name) + "\n";
        for (const auto& line : settingInWords(of->setting))
            text += "    " + plain(line) + "\n";
        text += "    loudness " + decimal(*of->loudness, 2) + " LUFS, played with " + decimal(of->gain.value, 2, true) +
                " dB: " + decimal(heardAt(*of), 2) + " LUFS\n";
    }
    text += "\nDifference in loudness as played: " + decimal(std::abs(heardAt(plan.a) - heardAt(plan.b)), 2) +
            " LU (ITU-R BS.1770; allowed: " + decimal(BlindPlan::tolerance.value, 1) + ")\n";
    text += "\nHidden order: SplitMix64 (Steele, Lea & Flood 2014), seed " + std::to_string(plan.seed) +
            ". In trial n, X is A where the highest bit of the n-th of its 64-bit numbers is 0, else B" +
            (preference ? "; Y is the other.\n" : ".\n");
    text += "Trials: " + std::to_string(plan.trials) + " planned, " + std::to_string(answered()) + " answered" +
            (outcome->endedEarly() ? "; ended early\n" : "\n");
    const auto row = [&](const std::string& number, const char* x, const char* y, const char* answer,
                         const char* meaning, const std::string& after) {
        text += column(number, 8) + column(x, 4) + (preference ? column(y, 4) : "") + column(answer, 9) +
                column(meaning, 10) + after + "\n";
    };
    text += "\n";
    if (!given.empty()) row("trial", "X", "Y", "answer", preference ? "that is" : "right", "after");
    for (std::size_t n = 0; n < given.size(); ++n) {
        const BlindTrial& trial = given[n];
        row(std::to_string(n + 1), letter(trial.x), letter(other(trial.x)), letter(trial.answer),
            preference      ? letter(trial.chosen)
            : trial.right() ? "yes"
                            : "no",
            decimal(trial.time.value, 1) + " s");
    }
    text += "\nResult\n";
    for (const auto& line : blindResultInWords(*outcome, plan.a.name, plan.b.name))
        text += plain(line) + "\n";
    return text;
}

Outcome BlindTest::save(const std::filesystem::path& path) const {
    const auto text = protocol();
    if (!text) return text.fault();
    return writeTextFile(path, *text);
}

} // namespace spillwright
