#include "Report/GridDrawing.h"

#include "Report/Colours.h"
#include "Report/PlotSvg.h"
#include "Session/Amounts.h"
#include "Session/PairWords.h"

#include <algorithm>
#include <cmath>

namespace spillwright {

namespace {

constexpr float widest = 560.0f, smallestStep = 9.0f, largestStep = 20.0f, nameGap = 6.0f;

std::string mixed(std::uint32_t from, std::uint32_t to, double share) {
    std::uint32_t result = 0;
    for (const unsigned shift : {16u, 8u, 0u}) {
        const double a = (from >> shift) & 0xffu, b = (to >> shift) & 0xffu;
        result |= static_cast<std::uint32_t>(std::lround(a + share * (b - a))) << shift;
    }
    return colours::hex(result);
}

std::string inWords(const PairState& state) {
    if (!state.reading) return "not measured: one of the two takes no part";
    if (!state.reading->related) return "unrelated";
    std::string text = "coherence " + unsignedAmount(state.reading->coherence, 2);
    if (!state.gainDb) return text + ", one of the two is muted";
    return text + ", " + gainText(*state.gainDb) + " dB: " + (*state.gainDb >= 0.0 ? "adds" : "cancels") +
           (isSure(*state.reading) ? "" : ", not sure");
}

class Grid {
public:
    Grid(Markup& into, const std::vector<std::string>& trackNames, std::string prefix)
        : page(into), names(trackNames), id(std::move(prefix)) {
        const auto count = static_cast<float>(std::max<std::size_t>(1, names.size()));
        step = std::clamp(widest / count, smallestStep, largestStep);
        nameHeight = std::min(12.5f, 0.9f * step);
        width = 0.0f;
        for (std::size_t row = 0; row < names.size(); ++row)
            width = std::max(width, static_cast<float>(row) * step + nameGap + estimatedWidth(names[row], nameHeight));
        height = step * count;
    }

    void write(const std::vector<PairState>& states, const std::string& title, const std::string& said) {
        const auto svg = page.in("svg", {{"xmlns", "http://www.w3.org/2000/svg"},
                                         {"version", "1.1"},
                                         {"role", "img"},
                                         {"aria-labelledby", id + "title " + id + "said"},
                                         {"width", svgNumber(width)},
                                         {"height", svgNumber(height)},
                                         {"viewBox", "0 0 " + svgNumber(width) + " " + svgNumber(height)},
                                         {"font-family", "Inter, sans-serif"}});
        page.element("title", title, {{"id", id + "title"}});
        page.element("desc", said, {{"id", id + "said"}});
        {
            const auto definitions = page.in("defs");
            const auto pattern = page.in("pattern", {{"id", id + "hatch"},
                                                     {"width", "4"},
                                                     {"height", "4"},
                                                     {"patternUnits", "userSpaceOnUse"},
                                                     {"patternTransform", "rotate(45)"}});
            page.empty("rect", {{"width", "1.5"}, {"height", "4"}, {"fill", colours::hex(colours::paper)}});
        }
        std::size_t pair = 0;
        for (std::size_t row = 0; row < names.size(); ++row) {
            for (std::size_t column = 0; column < row; ++column, ++pair) {
                const auto cell = page.in("g");
                page.element("title", names[column] + " / " + names[row] + ": " + inWords(states[pair]));
                square(states[pair], {static_cast<float>(column) * step, static_cast<float>(row) * step, step, step});
            }
            page.element("text", names[row],
                         {{"x", svgNumber(static_cast<float>(row) * step + nameGap)},
                          {"y", svgNumber((static_cast<float>(row) + 0.5f) * step + 0.36f * nameHeight)},
                          {"font-size", svgNumber(nameHeight)},
                          {"fill", svgColour(Plot::Ink::ink)}});
        }
    }

private:
    void rectangle(const PlotBox& area, const std::string& fill, const std::string& stroke = "") {
        page.empty("rect", {{"x", svgNumber(area.x)},
                            {"y", svgNumber(area.y)},
                            {"width", svgNumber(area.width)},
                            {"height", svgNumber(area.height)},
                            {"fill", fill},
                            {"stroke", stroke}});
    }

    void line(PlotPoint from, PlotPoint to, const std::string& colour, float thick) {
        page.empty("line", {{"x1", svgNumber(from.x)},
                            {"y1", svgNumber(from.y)},
                            {"x2", svgNumber(to.x)},
                            {"y2", svgNumber(to.y)},
                            {"stroke", colour},
                            {"stroke-width", svgNumber(thick)}});
    }

    static PlotBox centred(const PlotBox& area, float size) {
        return {area.centreX() - size / 2.0f, area.centreY() - size / 2.0f, size, size};
    }

    void square(const PairState& state, const PlotBox& area) {
        const auto quiet = svgColour(Plot::Ink::muted);
        if (!state.reading) return rectangle(centred(area, 1.5f), quiet);
        if (!state.reading->related) {
            const auto box = centred(area, 0.4f * step);
            return line({box.x, box.bottom()}, {box.right(), box.y}, quiet, 1.0f);
        }
        const float room = 0.9f * step, smallest = 0.45f * room;
        const auto coherence = static_cast<float>(std::clamp(state.reading->coherence, 0.0, 1.0));
        const auto box = centred(area, smallest + (room - smallest) * std::sqrt(coherence));
        if (!state.gainDb) return rectangle(box.expanded(-0.5f), "none", svgColour(Plot::Ink::rules));
        const bool adds = *state.gainDb >= 0.0;
        // Full hue from 2 dB either way: of two alike tracks +3 dB is all there is to have.
        const double strength = std::clamp(std::abs(*state.gainDb) / 2.0, 0.0, 1.0);
        const bool strong = strength > 0.45;
        rectangle(box, mixed(colours::paper, adds ? colours::adds : colours::cancels,
                             strong ? 0.55 + 0.45 * strength : 0.22 + 0.5 * strength));
        if (!isSure(*state.reading)) rectangle(box, "url(#" + id + "hatch)");
        const float arm = 0.27f * box.width, thick = std::clamp(0.13f * box.width, 0.6f, 1.6f);
        const auto sign = strong ? colours::hex(colours::raised) : svgColour(Plot::Ink::ink);
        line({box.centreX() - arm, box.centreY()}, {box.centreX() + arm, box.centreY()}, sign, thick);
        if (adds) line({box.centreX(), box.centreY() - arm}, {box.centreX(), box.centreY() + arm}, sign, thick);
    }

    Markup& page;
    const std::vector<std::string>& names;
    const std::string id;
    float step = 0.0f, nameHeight = 0.0f, width = 0.0f, height = 0.0f;
};

} // namespace

void writeGrid(Markup& page, const std::vector<std::string>& names, const std::vector<PairState>& states,
               const std::string& id, const std::string& title, const std::string& said) {
    Grid(page, names, id).write(states, title, said);
}

} // namespace spillwright
