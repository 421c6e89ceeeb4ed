#include "Desk/TakeFigures.h"

#include "Session/Amounts.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

namespace spillwright::desk {

namespace {

std::size_t at(int index) {
    return static_cast<std::size_t>(index);
}

std::string withDoubt(double value, const std::optional<double>& uncertainty, int decimals) {
    return signedAmount(value, decimals) + (uncertainty ? " \u00b1 " + unsignedAmount(*uncertainty, decimals) : "");
}

/// What the figures of a row are made of; `unit`: what a value is multiplied by.
struct Row {
    std::string name;
    std::optional<double> first, second;
    std::optional<Difference> difference;
    double unit = 1.0;
    int decimals = 1;
    bool isSigned = true;
    bool told = true;                                         ///< Whether it stands.
    double largest = std::numeric_limits<double>::infinity(); ///< That a difference can be.
    const char* whyNot = "";
    bool unsure = false; ///< Of both values.
};

TakeFigure inWords(const Row& row) {
    const auto amount = [&](const std::optional<double>& value) {
        if (!value) return std::string();
        return (row.isSigned ? signedAmount(*value * row.unit, row.decimals)
                             : unsignedAmount(*value * row.unit, row.decimals)) +
               (row.unsure ? "?" : "");
    };
    TakeFigure figure{row.name, amount(row.first), amount(row.second), {}, std::nullopt, {}};
    if (!row.difference) return figure;
    auto doubt = row.difference->uncertainty;
    if (doubt) *doubt *= row.unit;
    figure.difference = withDoubt(row.difference->value * row.unit, doubt, row.decimals);
    if (!row.told) return figure;
    figure.stands = row.difference->stands;
    const auto& from = row.difference->standsFrom;
    figure.why = *figure.stands         ? "yes"
                 : !from                ? row.whyNot
                 : *from >= row.largest ? "too few moments"
                                        : "from " + unsignedAmount(*from * row.unit, row.decimals) + " on";
    return figure;
}

std::string polarityOf(const ComparedPair& pair) {
    if (!pair.reading.polarity) return {};
    return pair.reading.polarity->polarity == Polarity::inverted ? "inverted" : "same";
}

void addPair(const Comparison& c, const TakeDifference& d, std::size_t place, std::vector<TakeFigure>& figures) {
    const auto &a = c.takes.front().pairs[place], &b = c.takes[at(d.second)].pairs[place];
    const auto found =
        std::find_if(d.pairs.begin(), d.pairs.end(), [&](const PairDifference& one) { return at(one.pair) == place; });
    const PairDifference difference = found == d.pairs.end() ? PairDifference() : *found;
    const auto of = [](const std::optional<ComparedPair>& pair, const auto& what) {
        return pair && std::isfinite(what(*pair)) ? std::optional<double>(what(*pair)) : std::nullopt;
    };
    const auto row = [&](const char* name, const auto& what, const std::optional<Difference>& differs, int decimals) {
        return Row{name, of(a, what), of(b, what), differs, 1.0, decimals};
    };
    auto coherence = row(
        "coherence", [](const ComparedPair& pair) { return pair.coherence.value; }, difference.coherence, 2);
    coherence.isSigned = false;
    coherence.largest = 1.0;
    figures.push_back(inWords(coherence));

    const auto arrival = [](const std::optional<ComparedPair>& pair) {
        return pair && pair->reading.arrival ? std::optional(pair->reading.arrival->delay.value) : std::nullopt;
    };
    figures.push_back(inWords({"arrival, ms", arrival(a), arrival(b), difference.arrival, 1e3, 2, true, true,
                               std::numeric_limits<double>::infinity(),
                               difference.dueTo.empty() ? "no track changed" : "below its \u00b1"}));

    TakeFigure polarity{"polarity", a ? polarityOf(*a) : "",    b ? polarityOf(*b) : "",
                        {},         difference.polarityDiffers, {}};
    if (difference.polarityDiffers) {
        polarity.difference = *difference.polarityDiffers ? "differs" : "none";
        polarity.why = *difference.polarityDiffers ? "yes" : "";
    }
    figures.push_back(polarity);

    figures.push_back(inWords(row(
        "deepest notch, dB", [](const ComparedPair& pair) { return pair.notch.value; }, difference.notch, 1)));
    figures.push_back(inWords(row(
        "gain as recorded, dB", [](const ComparedPair& pair) { return pair.summationGain.value; },
        difference.summationGain, 1)));
    auto best = row(
        "gain at its best, dB", [](const ComparedPair& pair) { return pair.best.value; }, {}, 1);
    if (a && b) best.difference = Difference{b->best.value - a->best.value, std::nullopt, false};
    best.told = false;
    figures.push_back(inWords(best));
}

} // namespace

std::vector<TakeFigure> takeFigures(const Comparison& c, const TakeDifference& d, int track,
                                    std::optional<int> partner) {
    const auto &a = c.takes.front(), &b = c.takes[at(d.second)];
    const auto level = [&](const ComparedTake& take) {
        const auto& known = take.levels[at(track)];
        return known ? std::optional(known->value) : std::nullopt;
    };
    std::vector<TakeFigure> figures;
    Row levels{"level, dBFS", level(a), level(b), {}};
    levels.whyNot = "by playing";
    if (levels.first && levels.second) {
        const auto &was = *a.levels[at(track)], &is = *b.levels[at(track)];
        Difference louder{is.value - was.value, std::nullopt, false};
        if (was.uncertainty && is.uncertainty) louder.uncertainty = std::hypot(*was.uncertainty, *is.uncertainty);
        // Playing changes a level more than anything; what stands is a gain that all ways of the track tell of.
        louder.stands = std::any_of(d.changes.begin(), d.changes.end(), [&](const TakeChange& change) {
            return change.track == track && change.kind == TakeChange::Kind::gain;
        });
        levels.difference = louder;
    }
    figures.push_back(inWords(levels));
    Row spill{"spill, %", a.spillShares[at(track)], b.spillShares[at(track)], d.spill[at(track)], 100.0, 0};
    spill.isSigned = false;
    spill.unsure = c.tracks[at(track)].standingUnsure;
    figures.push_back(inWords(spill));
    if (!partner || *partner == track) return figures;
    const auto pair = std::minmax(track, *partner);
    for (std::size_t place = 0; place < c.pairCount(); ++place)
        if (c.pairOf(place) == std::pair(pair.first, pair.second)) addPair(c, d, place, figures);
    return figures;
}

} // namespace spillwright::desk
