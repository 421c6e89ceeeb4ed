#include "Report/GridDrawing.h"

#include <catch2/catch.hpp>

using namespace spillwright;

namespace {

std::size_t countOf(const std::string& text, const std::string& part) {
    std::size_t count = 0;
    for (auto at = text.find(part); at != std::string::npos; at = text.find(part, at + part.size()))
        ++count;
    return count;
}

PairReading related(double coherence, double confidence) {
    PairReading reading;
    reading.related = true;
    reading.shared = Shared::sound;
    reading.coherence = coherence;
    reading.arrival = Arrival{milliseconds(1.0), milliseconds(0.01), confidence, {}};
    reading.polarity = PolarityReading{Polarity::same, confidence};
    return reading;
}

std::string drawn(const std::vector<std::string>& names, const std::vector<PairState>& states) {
    Markup page;
    writeGrid(page, names, states, "g-", "Grid", "said");
    return page.take();
}

} // namespace

TEST_CASE("a square of the grid tells by sign, by shape and in words what its pair does") {
    const auto sure = related(0.5, 0.9), unsure = related(0.25, 0.6);
    PairReading apart;
    // (a,b) adds, (a,c) cancels and is not sure, (b,c) is unrelated, (a,d) is muted, (b,d) is nothing, (c,d) adds.
    const auto svg = drawn({"a", "b", "c", "<d>"},
                           {{&sure, 1.5}, {&unsure, -0.4}, {&apart, 0.1}, {&sure, {}}, {nullptr, {}}, {&sure, 0.0}});
    for (const char* words :
         {"<title>a / b: coherence 0.50, +1.5 dB: adds</title>",
          "<title>a / c: coherence 0.25, \u22120.4 dB: cancels, not sure</title>", "<title>b / c: unrelated</title>",
          "<title>a / &lt;d&gt;: coherence 0.50, one of the two is muted</title>",
          "<title>b / &lt;d&gt;: not measured: one of the two takes no part</title>",
          "<title id=\"g-title\">Grid</title>", "<desc id=\"g-said\">said</desc>", ">&lt;d&gt;</text>"}) {
        INFO(words);
        CHECK(svg.find(words) != std::string::npos);
    }
    CHECK(countOf(svg, "<line ") == 2 + 1 + 1 + 2); // plus, minus, stroke, plus
    CHECK(countOf(svg, "url(#g-hatch)") == 1);
    CHECK(countOf(svg, "<text ") == 4);
}

TEST_CASE("grids of no track, of one and of many are drawings, too") {
    CHECK(countOf(drawn({}, {}), "<text ") == 0);
    CHECK(countOf(drawn({"alone"}, {}), "<text ") == 1);
    const std::vector<std::string> names(64, "track");
    const auto svg = drawn(names, std::vector<PairState>(64 * 63 / 2));
    CHECK(countOf(svg, "<text ") == 64);
    CHECK(countOf(svg, "<title>") == 64 * 63 / 2);
}
