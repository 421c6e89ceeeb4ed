#include "Desk/PairPanel.h"

#include "Desk/Amounts.h"
#include "Desk/Look.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

namespace spillwright::desk {

namespace {

constexpr float headingHeight = 34.0f;
constexpr float axisHeight = 16.0f;
constexpr float captionHeight = 18.0f;
constexpr float labelHeight = 11.0f;
constexpr float intervalAlpha = 0.28f;
constexpr double lowestHz = 20.0, highestHz = 20000.0;
constexpr double combLowDb = -24.0, combHighDb = 6.0;
constexpr Seconds widestLag(0.05);
constexpr double seriousRival = 0.1, namedRival = 0.01; // probabilities
constexpr float sentenceHeight = 20.0f, rowHeight = 15.5f, nowHeight = 19.0f, rowNameWidth = 64.0f;
constexpr float textHeight = headingHeight + sentenceHeight + words::PairWords::mostRows * rowHeight + nowHeight;

std::size_t at(int index) {
    return static_cast<std::size_t>(index);
}

juce::Rectangle<float> frameOf(const juce::Component& plot) {
    return plot.getLocalBounds().toFloat().withTrimmedTop(captionHeight).withTrimmedBottom(axisHeight).reduced(0.5f);
}

float placeOfHz(double hertz, juce::Rectangle<float> frame) {
    return frame.getX() +
           frame.getWidth() * static_cast<float>(std::log(hertz / lowestHz) / std::log(highestHz / lowestHz));
}

float placeOfDb(double dB, juce::Rectangle<float> frame) {
    const double within = std::clamp(dB, combLowDb, combHighDb);
    return frame.getBottom() - frame.getHeight() * static_cast<float>((within - combLowDb) / (combHighDb - combLowDb));
}

void paintFrame(juce::Graphics& g, juce::Rectangle<float> frame, const std::string& caption) {
    const auto& p = ui::palette();
    ui::draw(g, caption, frame.withBottom(frame.getY()).withTop(frame.getY() - captionHeight),
             juce::Justification::centredLeft, 11.5f, p.muted);
    g.setColour(p.raised);
    g.fillRect(frame);
}

void closeFrame(juce::Graphics& g, juce::Rectangle<float> frame) {
    g.setColour(ui::palette().rules);
    g.drawRect(frame, 1.0f);
}

void paintHertz(juce::Graphics& g, juce::Rectangle<float> frame) {
    const auto& p = ui::palette();
    for (const auto& [hertz, name] : {std::pair{50.0, "50"},
                                      {100.0, "100"},
                                      {200.0, "200"},
                                      {500.0, "500"},
                                      {1000.0, "1k"},
                                      {2000.0, "2k"},
                                      {5000.0, "5k"},
                                      {10000.0, "10k"}}) {
        const float x = placeOfHz(hertz, frame);
        g.setColour(p.rules);
        g.drawVerticalLine(juce::roundToInt(x), frame.getBottom(), frame.getBottom() + 3.0f);
        ui::draw(g, name, {x - 20.0f, frame.getBottom() + 2.0f, 40.0f, axisHeight}, juce::Justification::centred, 10.5f,
                 p.muted);
    }
}

void paintBand(juce::Graphics& g, juce::Rectangle<float> frame, Band band) {
    g.setColour(ui::palette().selected);
    g.fillRect(frame.withLeft(placeOfHz(band.low.value, frame)).withRight(placeOfHz(band.high.value, frame)));
}

template <class Place>
juce::Path pathOf(const FrequencyCurve& curve, juce::Rectangle<float> frame, Place&& place) {
    juce::Path path;
    bool begun = false; // Path::isEmpty() is true as long as there is no line
    for (std::size_t i = 0; i < curve.frequencies.size(); ++i) {
        if (curve.frequencies[i] < lowestHz || curve.frequencies[i] > highestHz) continue;
        const juce::Point<float> point(placeOfHz(curve.frequencies[i], frame), place(curve.values[i]));
        if (!std::exchange(begun, true))
            path.startNewSubPath(point);
        else
            path.lineTo(point);
    }
    return path;
}

void strokeDashed(juce::Graphics& g, const juce::Path& path, float thickness) {
    const float dashes[] = {4.0f, 3.0f};
    juce::Path dashed;
    juce::PathStrokeType(thickness).createDashedStroke(dashed, path, dashes, 2);
    g.fillPath(dashed);
}

struct KeyEntry {
    enum Kind { line, dashed, area };
    std::string words;
    Kind kind = line;
};

/// What the lines are, at the right of the caption.
void paintKey(juce::Graphics& g, juce::Rectangle<float> frame, const std::vector<KeyEntry>& entries) {
    const auto& p = ui::palette();
    auto line = frame.withBottom(frame.getY()).withTop(frame.getY() - captionHeight);
    for (auto entry = entries.rbegin(); entry != entries.rend(); ++entry) {
        const auto colour = entry->kind == KeyEntry::line ? p.ink : p.muted;
        ui::draw(g, entry->words, line.removeFromRight(ui::width(entry->words, 11.0f) + 3.0f),
                 juce::Justification::centredRight, 11.0f, colour);
        const auto sample = line.removeFromRight(24.0f).withSizeKeepingCentre(16.0f, 1.6f);
        g.setColour(colour);
        if (entry->kind == KeyEntry::area) {
            g.setColour(p.accent.withAlpha(intervalAlpha));
            g.fillRect(sample.withSizeKeepingCentre(sample.getWidth(), 9.0f));
        } else if (entry->kind == KeyEntry::dashed) {
            juce::Path path;
            path.startNewSubPath(sample.getX(), sample.getCentreY());
            path.lineTo(sample.getRight(), sample.getCentreY());
            strokeDashed(g, path, 1.3f);
        } else {
            g.fillRect(sample);
        }
        line.removeFromRight(6.0f);
    }
}

} // namespace

PairPanel::PairPanel(Controller& c) : controller(c), comb(*this), coherencePlot(*this), lag(*this) {
    setTitle("Pair");
    setOpaque(true);
    comb.setTitle("Comb response");
    coherencePlot.setTitle("Coherence over frequency");
    lag.setTitle("Correlation over lag");
    for (juce::Component* plot : {static_cast<juce::Component*>(&comb), static_cast<juce::Component*>(&coherencePlot),
                                  static_cast<juce::Component*>(&lag)}) {
        plot->setBufferedToImage(true);
        addAndMakeVisible(plot);
    }
    changed(~0u);
}

void PairPanel::changed(unsigned what) {
    const int a = controller.selectedTrack(), b = controller.partnerTrack();
    const int nowFirst = std::min(a, b), nowSecond = std::max(a, b);
    const bool otherPair = nowFirst != first || nowSecond != second;
    if (otherPair || (what & (Controller::readingsChanged | Controller::recordingChanged))) {
        first = nowFirst;
        second = nowSecond;
        readRecorded();
    }
    if (otherPair ||
        (what & (Controller::readingsChanged | Controller::recordingChanged | Controller::settingChanged))) {
        readNow();
        repaint();
        comb.repaint();
        coherencePlot.repaint();
        lag.repaint();
    }
}

void PairPanel::readRecorded() {
    combRecorded.reset();
    coherence.reset();
    correlation.reset();
    const auto* reading = controller.reading(first, second);
    if (!reading) return;
    const auto& spectra = *controller.measurement()->spectra;
    const Seconds delay = reading->arrival ? reading->arrival->delay : Seconds(0.0);
    combRecorded = combResponse(spectra, first, second, {}, {});
    coherence = coherenceCurve(spectra, first, second, delay);
    correlation = correlationCurve(spectra, first, second, widestLag);
    tallest = 1e-6;
    for (float value : correlation->values)
        tallest = std::max(tallest, std::abs(static_cast<double>(value)));
    // Wide enough for the arrival and for those that may well be it instead.
    double farthest = inMilliseconds(delay);
    for (const auto& candidate : reading->arrivalCandidates)
        if (candidate.probability >= seriousRival)
            farthest = std::max(std::abs(farthest), std::abs(inMilliseconds(candidate.delay)));
    span = widestLag;
    for (double ms : {2.0, 5.0, 10.0, 20.0}) {
        if (std::abs(farthest) * 1.6 < ms) {
            span = milliseconds(ms);
            break;
        }
    }
}

void PairPanel::readNow() {
    told = words::pair(controller, first, second);
    combNow.reset();
    if (!controller.reading(first, second)) return;
    combNow = combResponse(*controller.measurement()->spectra, first, second, controller.adjustments()[at(first)],
                           controller.adjustments()[at(second)]);
    setTitle(ui::text("Pair: " + told.names + ", " + told.sentence));
}

Seconds PairPanel::shiftNow() const {
    return controller.adjustments()[at(second)].nudge - controller.adjustments()[at(first)].nudge;
}

int PairPanel::signNow() const {
    return controller.adjustments()[at(second)].flip == controller.adjustments()[at(first)].flip ? 1 : -1;
}

void PairPanel::paint(juce::Graphics& g) {
    const auto& p = ui::palette();
    g.fillAll(p.paper);
    auto area = getLocalBounds().toFloat().reduced(16.0f, 0.0f);
    auto header = area.removeFromTop(headingHeight);
    ui::heading(g, "PAIR", header.removeFromLeft(42.0f));
    ui::draw(g, told.names, header, juce::Justification::centredLeft, 13.5f, p.ink, true);
    auto line = area.removeFromTop(sentenceHeight);
    if (!told.sureness.empty())
        ui::draw(g, told.sureness, line.removeFromRight(ui::width(told.sureness, 12.5f, true) + 4.0f),
                 juce::Justification::centredRight, 12.5f, told.sure ? p.accent : p.cancels, true);
    ui::draw(g, told.sentence, line, juce::Justification::centredLeft, 13.5f, p.ink);
    ui::draw(g, told.now, area.removeFromTop(nowHeight), juce::Justification::centredLeft, 11.5f, p.ink);
    for (const auto& row : told.rows) {
        auto each = area.removeFromTop(rowHeight);
        ui::draw(g, row.name, each.removeFromLeft(rowNameWidth), juce::Justification::centredLeft, 11.5f, p.muted);
        ui::draw(g, row.value, each, juce::Justification::centredLeft, 11.5f, p.ink);
    }
}

void PairPanel::resized() {
    auto area = getLocalBounds().reduced(16, 0).withTrimmedTop(juce::roundToInt(textHeight) + 3).withTrimmedBottom(4);
    const int total = area.getHeight();
    comb.setBounds(area.removeFromTop(total * 36 / 100));
    coherencePlot.setBounds(area.removeFromTop(total * 28 / 100));
    lag.setBounds(area);
}

void PairPanel::CombPlot::paint(juce::Graphics& g) {
    const auto& p = ui::palette();
    const auto frame = frameOf(*this);
    paintFrame(g, frame, "comb response, dB");
    const Band band = panel.controller.measurement() ? panel.controller.measurement()->options.band : lowMidBand;
    paintBand(g, frame, band);
    const float zero = placeOfDb(0.0, frame);
    g.setColour(p.rules);
    for (double dB : {-20.0, -10.0, 0.0})
        g.drawHorizontalLine(juce::roundToInt(placeOfDb(dB, frame)), frame.getX(), frame.getRight());
    paintHertz(g, frame);
    for (double dB : {-20.0, -10.0, 0.0})
        ui::draw(g, signedAmount(dB, 0), {frame.getX() + 3.0f, placeOfDb(dB, frame) - 13.0f, 30.0f, 13.0f},
                 juce::Justification::centredLeft, 10.0f, p.muted);
    if (panel.combNow) {
        const auto place = [&](double dB) { return placeOfDb(dB, frame); };
        const auto nowPath = pathOf(*panel.combNow, frame, place);
        // Within the band: what the two win is shaded above the line, what they lose below it.
        juce::Path filled = nowPath;
        filled.lineTo(frame.getRight(), zero);
        filled.lineTo(frame.getX(), zero);
        filled.closeSubPath();
        const auto inBand =
            frame.withLeft(placeOfHz(band.low.value, frame)).withRight(placeOfHz(band.high.value, frame));
        for (bool above : {true, false}) {
            juce::Graphics::ScopedSaveState saved(g);
            g.reduceClipRegion((above ? inBand.withBottom(zero) : inBand.withTop(zero)).toNearestInt());
            g.setColour((above ? p.adds : p.cancels).withAlpha(0.35f));
            g.fillPath(filled);
        }
        juce::Graphics::ScopedSaveState saved(g);
        g.reduceClipRegion(frame.toNearestInt());
        if (panel.combRecorded) {
            g.setColour(p.muted);
            strokeDashed(g, pathOf(*panel.combRecorded, frame, place), 1.1f);
        }
        g.setColour(p.ink);
        g.strokePath(nowPath, juce::PathStrokeType(1.7f));
    }
    paintKey(g, frame, {{"now", KeyEntry::line}, {"as recorded", KeyEntry::dashed}});
    closeFrame(g, frame);
}

void PairPanel::CoherencePlot::paint(juce::Graphics& g) {
    const auto& p = ui::palette();
    const auto frame = frameOf(*this);
    paintFrame(g, frame, "coherence, 0 to 1");
    paintBand(g, frame, panel.controller.measurement() ? panel.controller.measurement()->options.band : lowMidBand);
    paintHertz(g, frame);
    const auto place = [&](double value) {
        return frame.getBottom() - 1.0f - (frame.getHeight() - 4.0f) * static_cast<float>(std::clamp(value, 0.0, 1.0));
    };
    if (panel.coherence) {
        const auto& curve = *panel.coherence;
        // Along the lower edge and back along the upper one.
        auto interval = pathOf({curve.frequencies, curve.low}, frame, place);
        for (std::size_t i = curve.frequencies.size(); i-- > 0;)
            if (curve.frequencies[i] >= lowestHz && curve.frequencies[i] <= highestHz)
                interval.lineTo(placeOfHz(curve.frequencies[i], frame), place(curve.high[i]));
        interval.closeSubPath();
        g.setColour(p.accent.withAlpha(intervalAlpha));
        g.fillPath(interval);
        g.setColour(p.ink);
        g.strokePath(pathOf(curve, frame, place), juce::PathStrokeType(1.3f));
    }
    paintKey(g, frame, {{"measured", KeyEntry::line}, {"95 % sure", KeyEntry::area}});
    closeFrame(g, frame);
}

PairPanel::LagPlot::LagPlot(PairPanel& p) : panel(p) {
    setMouseCursor(juce::MouseCursor::LeftRightResizeCursor);
}

Seconds PairPanel::lagAt(float x) const {
    const auto frame = frameOf(lag);
    return Seconds(static_cast<double>(2.0f * (x - frame.getX()) / frame.getWidth() - 1.0f) * span.value);
}

float PairPanel::placeOfLag(Seconds value) const {
    const auto frame = frameOf(lag);
    return frame.getCentreX() + frame.getWidth() / 2.0f * static_cast<float>(value / span);
}

float PairPanel::placeOfHeight(double height) const {
    const auto frame = frameOf(lag);
    return frame.getCentreY() - 0.4f * frame.getHeight() * static_cast<float>(height / tallest);
}

std::vector<PairPanel::LagLabel> PairPanel::lagLabels() const {
    const auto* reading = controller.reading(first, second);
    if (!reading || !reading->arrival || !correlation) return {};
    constexpr float height = 13.0f, gap = 4.0f;
    const auto frame = frameOf(lag).reduced(1.0f);
    std::vector<LagLabel> labels;
    // Beside the tip, on whichever side there is room; false where there is none.
    const auto place = [&](const std::string& words, juce::Point<float> tip, bool runnerUp) {
        const float width = ui::width(words, labelHeight) + 4.0f;
        const juce::Rectangle<float> right(tip.x + gap, tip.y - height / 2.0f, width, height);
        for (auto area : {right, right.withX(tip.x - gap - width)}) {
            area.setY(std::clamp(area.getY(), frame.getY(), frame.getBottom() - height));
            if (!frame.contains(area)) continue;
            if (std::any_of(labels.begin(), labels.end(), [&](const LagLabel& other) {
                    return other.area.intersects(area) || area.expanded(2.0f).contains(other.tip);
                }))
                continue;
            labels.push_back({words, tip, area, runnerUp});
            return true;
        }
        return false;
    };
    const double shift = shiftNow().value;
    const auto percent = [](double probability) {
        return std::to_string(std::clamp(static_cast<int>(100.0 * probability), 0, 99)) + " %";
    };
    const auto tipOf = [&](Seconds delay, Polarity polarity, double peak) {
        return juce::Point<float>(placeOfLag(Seconds(delay.value + shift)),
                                  placeOfHeight(sign(polarity) * signNow() * peak));
    };
    for (const auto& candidate : reading->arrivalCandidates) {
        const bool isArrival = &candidate == reading->arrivalCandidates.data();
        if (std::ssize(labels) > mostRunnerUps || (!isArrival && candidate.probability < namedRival)) break;
        const auto tip = tipOf(candidate.delay, candidate.polarity, candidate.height);
        if (!frame.contains(tip)) continue;
        const std::string lagNow = signedAmount((candidate.delay.value + shift) * 1e3, 2);
        const bool inverted = sign(candidate.polarity) * signNow() < 0;
        if (isArrival)
            place(lagNow + (inverted ? ", inverted, " : ", ") + percent(candidate.probability), tip, false);
        else if (!place("or " + lagNow + ", " + percent(candidate.probability), tip, true))
            place(percent(candidate.probability), tip, true);
    }
    return labels;
}

void PairPanel::LagPlot::paint(juce::Graphics& g) {
    const auto& p = ui::palette();
    const auto frame = frameOf(*this);
    paintFrame(g, frame, "correlation over lag, ms: drag to nudge");
    const float middle = frame.getCentreY();
    g.setColour(p.rules);
    g.drawHorizontalLine(juce::roundToInt(middle), frame.getX(), frame.getRight());
    g.drawVerticalLine(juce::roundToInt(frame.getCentreX()), frame.getY(), frame.getBottom());
    const double spanMs = inMilliseconds(panel.span);
    for (double ms : {-spanMs, -spanMs / 2.0, 0.0, spanMs / 2.0, spanMs}) {
        const float x = panel.placeOfLag(milliseconds(ms));
        auto label = juce::Rectangle<float>(x - 20.0f, frame.getBottom() + 2.0f, 40.0f, axisHeight);
        auto justification = juce::Justification::centred;
        if (ms == -spanMs) label = label.withX(frame.getX()), justification = juce::Justification::centredLeft;
        if (ms == spanMs) label = label.withRightX(frame.getRight()), justification = juce::Justification::centredRight;
        ui::draw(g,
                 signedAmount(
                     ms, spanMs < 5.0 && std::abs(ms) < spanMs ? 1 : (spanMs == 5.0 && std::abs(ms) == 2.5 ? 1 : 0)),
                 label, justification, 10.5f, p.muted);
    }
    if (!panel.correlation) return closeFrame(g, frame);

    const auto& curve = *panel.correlation;
    const double shift = panel.shiftNow().value;
    const auto traced = [&](double moved, int sign) {
        juce::Path path;
        bool begun = false;
        for (std::size_t i = 0; i < curve.values.size(); ++i) {
            const double lagSeconds = curve.firstLag.value + static_cast<double>(i) * curve.step.value + moved;
            if (std::abs(lagSeconds) > panel.span.value * 1.02) continue;
            const juce::Point<float> point(panel.placeOfLag(Seconds(lagSeconds)),
                                           panel.placeOfHeight(sign * static_cast<double>(curve.values[i])));
            if (!std::exchange(begun, true))
                path.startNewSubPath(point);
            else
                path.lineTo(point);
        }
        return path;
    };
    {
        juce::Graphics::ScopedSaveState saved(g);
        g.reduceClipRegion(frame.toNearestInt());
        if (shift != 0.0 || panel.signNow() < 0) {
            g.setColour(p.muted.withAlpha(0.6f));
            strokeDashed(g, traced(0.0, 1), 1.0f);
        }
        g.setColour(p.ink);
        g.strokePath(traced(shift, panel.signNow()), juce::PathStrokeType(1.5f));
        if (const auto* reading = panel.controller.reading(panel.first, panel.second); reading && reading->arrival) {
            const float x = panel.placeOfLag(Seconds(reading->arrival->delay.value + shift));
            g.setColour(p.accent);
            g.drawLine(x, frame.getY(), x, frame.getBottom(), 1.4f);
        }
        for (const auto& label : panel.lagLabels()) {
            const auto colour = label.runnerUp ? p.muted : p.accent;
            g.setColour(colour);
            const auto dot = juce::Rectangle<float>(5.0f, 5.0f).withCentre(label.tip);
            if (label.runnerUp)
                g.drawEllipse(dot, 1.3f);
            else
                g.fillEllipse(dot);
            g.setColour(p.raised.withAlpha(0.85f));
            g.fillRect(label.area);
            ui::draw(g, label.words, label.area.withTrimmedLeft(2.0f), juce::Justification::centredLeft, labelHeight,
                     colour);
        }
    }
    closeFrame(g, frame);
}

void PairPanel::LagPlot::mouseDown(const juce::MouseEvent&) {
    if (panel.second >= 0 && panel.correlation) nudgeBefore = panel.controller.adjustments()[at(panel.second)].nudge;
}

void PairPanel::LagPlot::mouseDrag(const juce::MouseEvent& event) {
    if (panel.second < 0 || !panel.correlation) return;
    const auto frame = frameOf(*this);
    const double perPixel = 2.0 * panel.span.value / static_cast<double>(frame.getWidth());
    double nudge =
        nudgeBefore.value + perPixel * event.getDistanceFromDragStartX() * (event.mods.isShiftDown() ? 0.1 : 1.0);
    if (const auto* reading = panel.controller.reading(panel.first, panel.second); reading && reading->arrival) {
        const double aligned =
            panel.controller.adjustments()[at(panel.first)].nudge.value - reading->arrival->delay.value;
        if (std::abs(nudge - aligned) < 2.5 * perPixel && !event.mods.isShiftDown()) nudge = aligned;
    }
    panel.controller.setNudge(panel.second, Seconds(nudge), true);
}

void PairPanel::LagPlot::mouseUp(const juce::MouseEvent&) {
    panel.controller.endGesture();
}

} // namespace spillwright::desk
