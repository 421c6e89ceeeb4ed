#include "Desk/PairPanel.h"

#include "Desk/Amounts.h"
#include "Desk/Commands.h"
#include "Desk/Look.h"
#include "Desk/Notches.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace spillwright::desk {

namespace {

constexpr float headingHeight = 34.0f;
constexpr double lowestHz = 20.0, highestHz = 20000.0;
constexpr double combLowDb = -24.0, combHighDb = 6.0;
constexpr double coherenceBelow = -0.03, coherenceAbove = 1.06;
constexpr double tallestShare = 0.8; ///< Of the upper half of the lag plot.
constexpr Seconds widestLag(0.05);
constexpr double seriousRival = 0.1, namedRival = 0.01; // probabilities
constexpr double toldApartDb = 0.1;                     ///< Curves that differ by less look like one.
constexpr float sentenceHeight = 20.0f, rowHeight = 15.5f, nowHeight = 19.0f, rowNameWidth = 64.0f;
constexpr float textHeight = headingHeight + sentenceHeight + words::PairWords::mostRows * rowHeight + nowHeight;
constexpr const char* dot = " \u00b7 ";
constexpr int leastForThree = 190; ///< Height below which two plots are shown, that can be read.
constexpr int buttonHeight = 16, saveWidth = 34, copyWidth = 40;

std::size_t at(int index) {
    return static_cast<std::size_t>(index);
}

Plot::Axis hertz() {
    return {"frequency, Hz",
            lowestHz,
            highestHz,
            true,
            {{50.0, "50"},
             {100.0, "100"},
             {200.0, "200"},
             {500.0, "500"},
             {1000.0, "1k"},
             {2000.0, "2k"},
             {5000.0, "5k"},
             {10000.0, "10k"}}};
}

/// The part of the curve that is shown.
FrequencyCurve shownPart(const FrequencyCurve& curve) {
    FrequencyCurve part;
    for (std::size_t i = 0; i < curve.frequencies.size(); ++i) {
        if (curve.frequencies[i] < lowestHz || curve.frequencies[i] > highestHz) continue;
        part.frequencies.push_back(curve.frequencies[i]);
        part.values.push_back(curve.values[i]);
    }
    return part;
}

Plot::Line lineOf(const FrequencyCurve& curve, std::string name, std::string brief, Plot::Ink ink, Plot::Stroke stroke,
                  float thick) {
    auto part = shownPart(curve);
    return {std::move(name), std::move(brief), std::move(part.frequencies), std::move(part.values), ink, stroke, thick};
}

/// Within the band, from the zero line to the curve where it lies on that side of it.
Plot::Area gainArea(const FrequencyCurve& curve, Band band, bool above) {
    Plot::Area area{"", "", {}, {}, {}, above ? Plot::Ink::adds : Plot::Ink::cancels, 0.35f};
    for (std::size_t i = 0; i < curve.frequencies.size(); ++i) {
        if (curve.frequencies[i] < band.low.value || curve.frequencies[i] > band.high.value) continue;
        area.x.push_back(curve.frequencies[i]);
        area.low.push_back(std::min(0.0, above ? 0.0 : curve.values[i]));
        area.high.push_back(std::max(0.0, above ? curve.values[i] : 0.0));
    }
    return area;
}

bool toldApart(const FrequencyCurve& a, const FrequencyCurve& b) {
    for (std::size_t i = 0; i < a.values.size(); ++i)
        if (std::max(a.values[i], b.values[i]) > combLowDb && std::abs(a.values[i] - b.values[i]) > toldApartDb)
            return true;
    return false;
}

juce::File usualFolder() {
    const auto documents = juce::File::getSpecialLocation(juce::File::userDocumentsDirectory);
    return documents.isDirectory() ? documents : juce::File::getSpecialLocation(juce::File::userHomeDirectory);
}

} // namespace

// ---- parts

SmallButton::SmallButton(const juce::String& title, const juce::String& words) : juce::Button(words) {
    setTitle(title);
    setMouseClickGrabsKeyboardFocus(false);
}

void SmallButton::paintButton(juce::Graphics& g, bool highlighted, bool down) {
    const auto& p = ui::palette();
    const auto area = getLocalBounds().toFloat().reduced(0.5f);
    const bool on = getToggleState();
    g.setColour(on ? p.accent : highlighted || down ? p.selected : p.raised);
    g.fillRoundedRectangle(area, 3.0f);
    g.setColour(on ? p.accent : p.rules);
    g.drawRoundedRectangle(area, 3.0f, 1.0f);
    ui::draw(g, getButtonText().toStdString(), area, juce::Justification::centred, 10.5f, on ? p.onAccent : p.ink, on);
    if (hasKeyboardFocus(true)) ui::drawFocus(g, getLocalBounds().toFloat(), 3.0f, on);
}

PlotView::PlotView(const juce::String& title) : save("Save: " + title.toLowerCase(), "save") {
    setTitle(title);
    setBufferedToImage(true);
    save.explanation = [] {
        return "Save this plot as a picture or as SVG; " + keyOf(CommandId::savePlots) + " saves all three";
    };
    save.onClick = [this] {
        if (onSave) onSave();
    };
    addAndMakeVisible(save);
}

void PlotView::show(Plot plot) {
    shown = std::move(plot);
    save.setVisible(!shown.lines.empty());
    repaint();
}

std::vector<PlotLabel> PlotView::labels() const {
    const auto layout = layoutInWindow(getLocalBounds().toFloat());
    return placeLabels(shown, layout.frame, layout.labelHeight);
}

void PlotView::paint(juce::Graphics& g) {
    const auto& p = ui::palette();
    const auto layout = layoutInWindow(getLocalBounds().toFloat());
    ui::draw(g, shown.caption, layout.key, juce::Justification::centredLeft, 11.5f, p.muted);
    paintPlot(g, shown, layout, p);
}

void PlotView::resized() {
    save.setBounds(getWidth() - saveWidth, 0, saveWidth, buttonHeight);
}

void PlotView::mouseDown(const juce::MouseEvent& event) {
    if (event.mods.isPopupMenu() && onSave && !shown.lines.empty()) onSave();
}

// ---- the panel

PairPanel::PairPanel(Controller& c)
    : controller(c), comb("Comb response"), coherence("Coherence over frequency"), lag(*this),
      copy("Copy the pair in words", "copy"), hear("Hear the pair alone", "hear") {
    setTitle("Pair");
    setOpaque(true);
    for (PlotView* view : std::initializer_list<PlotView*>{&comb, &coherence, &lag}) {
        view->onSave = [this, view] { offerToSave(*view); };
        addAndMakeVisible(view);
    }
    copy.explanation = [] { return "Copy the pair in words (" + keyOf(CommandId::copyPair) + ")"; };
    copy.onClick = [this] { copyWords(); };
    hear.explanation = [] { return "Hear these two alone, or all again (" + keyOf(CommandId::hearPair) + ")"; };
    hear.onClick = [this] { controller.togglePairSolo(); };
    addAndMakeVisible(copy);
    addAndMakeVisible(hear);
    changed(~0u);
}

void PairPanel::changed(unsigned what) {
    const int a = controller.selectedTrack(), b = controller.partnerTrack();
    const int nowFirst = std::min(a, b), nowSecond = std::max(a, b);
    const bool otherPair = nowFirst != first || nowSecond != second;
    const bool readAnew = otherPair || (what & (Controller::readingsChanged | Controller::recordingChanged));
    if (readAnew) {
        first = nowFirst;
        second = nowSecond;
        readRecorded();
    }
    if (readAnew || (what & Controller::settingChanged)) {
        readNow();
        showLag();
        repaint();
    }
    if (readAnew) showCoherence();
    if (readAnew || (what & (Controller::settingChanged | Controller::versionsChanged))) showComb();
}

void PairPanel::readRecorded() {
    combRecorded.reset();
    coherenceRead.reset();
    correlation.reset();
    if (const auto* reading = controller.reading(first, second)) {
        const auto& spectra = *controller.measurement()->spectra;
        const Seconds delay = reading->arrival ? reading->arrival->delay : Seconds(0.0);
        combRecorded = combResponse(spectra, first, second, {}, {});
        coherenceRead = coherenceCurve(spectra, first, second, delay);
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
}

void PairPanel::readNow() {
    told = words::pair(controller, first, second);
    copy.setVisible(!told.names.empty());
    hear.setVisible(!told.names.empty());
    hear.setToggleState(controller.pairSoloed(), juce::dontSendNotification);
    combNow.reset();
    if (!controller.reading(first, second)) return;
    combNow = combResponse(*controller.measurement()->spectra, first, second, controller.adjustments()[at(first)],
                           controller.adjustments()[at(second)]);
    setTitle(ui::text("Pair: " + told.names + ", " + told.sentence));
}

std::optional<PairPanel::Best> PairPanel::bestProposal() const {
    std::optional<Best> best;
    double bestDb = 0.0;
    for (auto kind : {VersionKind::flips, VersionKind::nudgesTo1ms, VersionKind::nudgesTo10ms}) {
        const auto& version = controller.version(kind);
        if (!version || !version->boundHolds || (best && version->gainDb <= bestDb)) continue;
        const auto setting = controller.settingOf(kind);
        best = Best{kind, (*setting)[at(first)], (*setting)[at(second)]};
        bestDb = version->gainDb;
    }
    return best;
}

Plot PairPanel::bare(const PlotView& view, const char* caption) const {
    Plot plot;
    plot.title = view.getTitle().toStdString();
    plot.subject = told.names;
    plot.caption = caption;
    plot.remark = told.sentence + (controller.measurement() ? dot + words::reads(controller) : "");
    return plot;
}

void PairPanel::showComb() {
    const Band band = controller.measurement() ? controller.measurement()->options.band : lowMidBand;
    auto plot = bare(comb, "comb, dB");
    if (!told.now.empty()) plot.remark += dot + told.now;
    plot.x = hertz();
    plot.y = {"summation gain of the two, dB", combLowDb, combHighDb, false, {}};
    for (double dB : {-20.0, -10.0, 0.0}) {
        plot.y.ticks.push_back({dB, signedAmount(dB, 0)});
        plot.rules.push_back({false, dB});
    }
    plot.bands.push_back({band.low.value, band.high.value});
    if (combNow && combRecorded) {
        for (bool above : {true, false})
            plot.areas.push_back(gainArea(*combNow, band, above));
        std::string recordedToo; // the best may be to leave the two as they are
        if (const auto best = bestProposal()) {
            const auto curve =
                combResponse(*controller.measurement()->spectra, first, second, best->first, best->second);
            const std::string key = std::to_string(indexOf(best->kind) + 1);
            if (!toldApart(curve, *combRecorded))
                recordedToo = ", best";
            else if (toldApart(curve, *combNow))
                plot.lines.push_back(lineOf(curve, "best proposal: " + words::versionName(best->kind),
                                            "best (" + key + ")", Plot::Ink::accent, Plot::Stroke::dotted, 1.1f));
        }
        plot.lines.push_back(
            lineOf(*combRecorded, "as recorded" + recordedToo, "", Plot::Ink::muted, Plot::Stroke::dashed, 1.1f));
        plot.lines.push_back(lineOf(*combNow, "now", "", Plot::Ink::ink, Plot::Stroke::solid, 1.7f));
        for (const auto& notch : notches(shownPart(*combNow), band, mostNotches)) {
            const auto frequency = unsignedAmount(notch.frequency.value, 0) + " Hz";
            plot.marks.push_back({notch.frequency.value,
                                  notch.levelDb,
                                  {frequency + " " + signedAmount(notch.levelDb, 0) + " dB", frequency},
                                  Plot::Ink::cancels,
                                  true});
        }
    }
    comb.show(std::move(plot));
}

void PairPanel::showCoherence() {
    const Band band = controller.measurement() ? controller.measurement()->options.band : lowMidBand;
    auto plot = bare(coherence, "coherence, 0 to 1");
    plot.x = hertz();
    plot.y = {"magnitude-squared coherence, 0 to 1", coherenceBelow, coherenceAbove, false, {}, true};
    plot.bands.push_back({band.low.value, band.high.value});
    for (double value : {0.0, 0.5, 1.0})
        plot.rules.push_back({false, value});
    plot.y.ticks = {{0.0, "0"}, {0.5, "0.5"}, {1.0, "1"}};
    if (coherenceRead) {
        const auto low = shownPart({coherenceRead->frequencies, coherenceRead->low});
        const auto high = shownPart({coherenceRead->frequencies, coherenceRead->high});
        plot.areas.push_back({"95 % sure", "", low.frequencies, low.values, high.values, Plot::Ink::accent, 0.28f});
        plot.lines.push_back(lineOf(*coherenceRead, "measured", "", Plot::Ink::ink, Plot::Stroke::solid, 1.3f));
    }
    coherence.show(std::move(plot));
}

void PairPanel::showLag() {
    auto plot = bare(lag, "lag, ms: drag to nudge");
    if (!told.now.empty()) plot.remark += dot + told.now;
    const double spanMs = inMilliseconds(span);
    plot.x = {"lag, ms: plus is later in the second track", -spanMs, spanMs, false, {}};
    for (double ms : {-spanMs, -spanMs / 2.0, 0.0, spanMs / 2.0, spanMs}) {
        const bool tenths = std::abs(std::abs(ms) - std::round(std::abs(ms))) > 0.01;
        plot.x.ticks.push_back({ms, ms == 0.0 ? "0" : signedAmount(ms, tenths ? 1 : 0)});
    }
    plot.y = {"correlation, \u22121 to 1", -tallest / tallestShare, tallest / tallestShare, false, {}, true};
    plot.rules = {{false, 0.0}, {true, 0.0}};
    const auto* reading = controller.reading(first, second);
    if (reading && correlation) {
        plot.y.ticks = {{-tallest, signedAmount(-tallest, 2)}, {0.0, "0"}, {tallest, signedAmount(tallest, 2)}};
        const double shiftMs = inMilliseconds(shiftNow());
        const auto traced = [&](double moved, int sign) {
            Plot::Line line;
            for (std::size_t i = 0; i < correlation->values.size(); ++i) {
                const double ms = inMilliseconds(correlation->firstLag) +
                                  static_cast<double>(i) * inMilliseconds(correlation->step) + moved;
                if (std::abs(ms) > spanMs * 1.02) continue;
                line.x.push_back(ms);
                line.y.push_back(sign * static_cast<double>(correlation->values[i]));
            }
            return line;
        };
        if (shiftMs != 0.0 || signNow() < 0) {
            auto recorded = traced(0.0, 1);
            recorded.name = "as recorded";
            recorded.ink = Plot::Ink::muted;
            recorded.stroke = Plot::Stroke::dashed;
            recorded.thick = 1.0f;
            plot.lines.push_back(std::move(recorded));
        }
        auto now = traced(shiftMs, signNow());
        now.name = "now";
        plot.lines.push_back(std::move(now));
        if (reading->arrival)
            plot.rules.push_back({true, inMilliseconds(reading->arrival->delay) + shiftMs, Plot::Ink::accent, 1.4f});

        const auto percent = [](double probability) {
            return std::to_string(std::clamp(static_cast<int>(100.0 * probability), 0, 99)) + " %";
        };
        int runnerUps = 0;
        for (const auto& candidate : reading->arrivalCandidates) {
            const bool isArrival = &candidate == reading->arrivalCandidates.data();
            const double ms = inMilliseconds(candidate.delay) + shiftMs;
            if (!reading->arrival || (!isArrival && candidate.probability < namedRival)) break;
            if (std::abs(ms) > spanMs) continue;
            if (!isArrival && ++runnerUps > mostRunnerUps) break;
            const bool inverted = sign(candidate.polarity) * signNow() < 0;
            const auto lagNow = signedAmount(ms, 2), share = percent(candidate.probability);
            Plot::Mark mark{ms, (inverted ? -1 : 1) * candidate.height, {}, Plot::Ink::muted, isArrival};
            if (isArrival) {
                mark.ink = Plot::Ink::accent;
                mark.words = {lagNow + (inverted ? ", inverted, " : ", ") + share};
            } else {
                mark.words = {"or " + lagNow + ", " + share, share};
            }
            plot.marks.push_back(std::move(mark));
        }
    }
    lag.show(std::move(plot));
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
    ui::draw(g, told.names, header.withTrimmedRight(2 * copyWidth + 14.0f), juce::Justification::centredLeft, 13.5f,
             p.ink, true);
    auto line = area.removeFromTop(sentenceHeight);
    if (!told.sureness.empty())
        ui::draw(g, told.sureness, line.removeFromRight(ui::width(told.sureness, 12.5f, true) + 4.0f),
                 juce::Justification::centredRight, 12.5f, told.sure ? p.accent : p.cancels, true);
    ui::drawWhole(g, told.sentence, line, juce::Justification::centredLeft, 13.5f, p.ink);
    ui::drawWhole(g, told.now, area.removeFromTop(nowHeight), juce::Justification::centredLeft, 11.5f, p.ink);
    for (const auto& row : told.rows) {
        auto each = area.removeFromTop(rowHeight);
        ui::draw(g, row.name, each.removeFromLeft(rowNameWidth), juce::Justification::centredLeft, 11.5f, p.muted);
        ui::drawWhole(g, row.value, each, juce::Justification::centredLeft, 11.5f, p.ink);
    }
}

void PairPanel::resized() {
    copy.setBounds(getWidth() - 16 - copyWidth, 9, copyWidth, buttonHeight);
    hear.setBounds(copy.getX() - 6 - copyWidth, 9, copyWidth, buttonHeight);
    auto area = getLocalBounds().reduced(16, 0).withTrimmedTop(juce::roundToInt(textHeight) + 3).withTrimmedBottom(4);
    const int total = area.getHeight();
    coherence.setVisible(total >= leastForThree);
    comb.setBounds(area.removeFromTop(total * (coherence.isVisible() ? 41 : 55) / 100));
    if (coherence.isVisible()) coherence.setBounds(area.removeFromTop(total * 25 / 100));
    lag.setBounds(area);
}

Seconds PairPanel::lagAt(float x) const {
    const auto frame = lag.frame();
    return Seconds(static_cast<double>(2.0f * (x - frame.getX()) / frame.getWidth() - 1.0f) * span.value);
}

float PairPanel::placeOfLag(Seconds value) const {
    const auto frame = lag.frame();
    return frame.getCentreX() + frame.getWidth() / 2.0f * static_cast<float>(value / span);
}

// ---- to take away

std::string PairPanel::inWords() const {
    return words::lines(told);
}

void PairPanel::copyWords() {
    const auto lines = inWords();
    if (lines.empty()) return;
    toClipboard(ui::text(lines));
    controller.say("Copied: " + told.names + " in words.");
}

void PairPanel::offerToSave(PlotView& view) {
    juce::PopupMenu menu;
    menu.addItem("Picture (PNG)", [this, &view] { askWhereToSave(view, PlotFormat::png); });
    menu.addItem("Drawing (SVG)", [this, &view] { askWhereToSave(view, PlotFormat::svg); });
    menu.addItem("All three plots as both (" + ui::text(keyOf(CommandId::savePlots)) + ")",
                 [this] { askWhereToSaveAll(); });
    menu.showMenuAsync(juce::PopupMenu::Options().withTargetComponent(view.saveButton()).withDeletionCheck(*this));
}

void PairPanel::tell(const Outcome& outcome, const std::string& saved) {
    if (outcome)
        controller.say("Saved: " + saved);
    else
        controller.say(outcome.fault().line(), true);
}

void PairPanel::askWhereToSave(PlotView& view, PlotFormat format) {
    const juce::String ending = endingOf(format);
    chooser = std::make_unique<juce::FileChooser>(
        "Save the plot", usualFolder().getChildFile(plotFileName(view.plot()) + ending), "*" + ending);
    chooser->launchAsync(juce::FileBrowserComponent::saveMode | juce::FileBrowserComponent::canSelectFiles |
                             juce::FileBrowserComponent::warnAboutOverwriting,
                         // The plot as it was when asked: the pair may be another one by then.
                         [this, plot = view.plot(), format, ending](const juce::FileChooser& done) {
                             if (done.getResult() == juce::File()) return;
                             const auto file = done.getResult().withFileExtension(ending);
                             tell(savePlot(plot, format, file.getFullPathName().toStdString()),
                                  file.getFullPathName().toStdString());
                         });
}

void PairPanel::askWhereToSaveAll() {
    if (lag.plot().lines.empty()) return;
    chooser = std::make_unique<juce::FileChooser>("Save the three plots in a folder", usualFolder());
    chooser->launchAsync(juce::FileBrowserComponent::openMode | juce::FileBrowserComponent::canSelectDirectories,
                         [this](const juce::FileChooser& done) {
                             if (done.getResult() != juce::File())
                                 saveAll(done.getResult().getFullPathName().toStdString());
                         });
}

void PairPanel::saveAll(const std::filesystem::path& folder) {
    Outcome outcome = spillwright::done();
    int saved = 0;
    for (const PlotView* view : std::initializer_list<const PlotView*>{&comb, &coherence, &lag}) {
        for (auto format : {PlotFormat::png, PlotFormat::svg}) {
            if (view->plot().lines.empty() || !outcome) continue;
            const auto file = juce::File(ui::text(folder.string()))
                                  .getNonexistentChildFile(plotFileName(view->plot()), endingOf(format));
            outcome = savePlot(view->plot(), format, file.getFullPathName().toStdString());
            if (outcome) ++saved;
        }
    }
    tell(outcome, std::to_string(saved) + " files of " + told.names + " in " + folder.string());
}

// ---- the lag plot

PairPanel::LagPlot::LagPlot(PairPanel& p) : PlotView("Correlation over lag"), panel(p) {
    setMouseCursor(juce::MouseCursor::LeftRightResizeCursor);
    saveButton().setMouseCursor(juce::MouseCursor::NormalCursor);
}

void PairPanel::LagPlot::mouseDown(const juce::MouseEvent& event) {
    PlotView::mouseDown(event);
    if (panel.second >= 0 && panel.correlation) nudgeBefore = panel.controller.adjustments()[at(panel.second)].nudge;
}

void PairPanel::LagPlot::mouseDrag(const juce::MouseEvent& event) {
    if (panel.second < 0 || !panel.correlation || event.mods.isPopupMenu()) return;
    const double perPixel = 2.0 * panel.span.value / static_cast<double>(frame().getWidth());
    double nudge =
        nudgeBefore.value + perPixel * event.getDistanceFromDragStartX() * (event.mods.isShiftDown() ? 0.1 : 1.0);
    if (const auto* reading = panel.controller.reading(panel.first, panel.second); reading && reading->arrival) {
        const double aligned =
            panel.controller.adjustments()[at(panel.first)].nudge.value - reading->arrival->delay.value;
        if (std::abs(nudge - aligned) < 2.5 * perPixel && !event.mods.isShiftDown()) nudge = aligned;
    }
    move.follow([this, second = panel.second, nudge] { panel.controller.setNudge(second, Seconds(nudge), true); });
}

void PairPanel::LagPlot::mouseUp(const juce::MouseEvent&) {
    move.finish();
    panel.controller.endGesture();
}

} // namespace spillwright::desk
