#include "Desk/PairPanel.h"

#include "Desk/Commands.h"
#include "Desk/Look.h"
#include "Session/Amounts.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace spillwright::desk {

namespace {

constexpr float headingHeight = 34.0f;
constexpr float sentenceHeight = 20.0f, rowHeight = 15.5f, nowHeight = 19.0f, rowNameWidth = 64.0f;
constexpr float textHeight = headingHeight + sentenceHeight + PairWords::mostRows * rowHeight + nowHeight;
constexpr const char* dot = " \u00b7 ";
constexpr int leastForThree = 190; ///< Height below which two plots are shown, that can be read.
constexpr int buttonHeight = 16, saveWidth = 34, copyWidth = 40;

std::size_t at(int index) {
    return static_cast<std::size_t>(index);
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
        return "Save this plot as a picture or as SVG; " + keyOf(CommandId::savePlots) + " saves all of them";
    };
    save.onClick = [this] {
        if (onSave) onSave();
    };
    addAndMakeVisible(save);
}

void PlotView::show(Plot plot) {
    shown = std::move(plot);
    save.setVisible(onSave && !shown.lines.empty());
    repaint();
}

std::vector<PlotLabel> PlotView::labels() const {
    return labelsOf(shown, layoutInWindow(getLocalBounds().toFloat()));
}

void PlotView::paint(juce::Graphics& g) {
    const auto& p = ui::palette();
    const auto layout = layoutInWindow(getLocalBounds().toFloat());
    ui::draw(g, shown.caption, rectangleOf(layout.key), juce::Justification::centredLeft, 11.5f, p.muted);
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
    for (PlotView* view : std::initializer_list<PlotView*>{&comb, &coherence, &lag})
        addAndMakeVisible(view);
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
    curves.reset();
    if (const auto* reading = controller.reading(first, second))
        curves = readPairCurves(*controller.measurement()->spectra, *reading);
}

void PairPanel::readNow() {
    told = words::pair(controller, first, second);
    copy.setVisible(!told.names.empty());
    hear.setVisible(!told.names.empty());
    hear.setToggleState(controller.pairSoloed(), juce::dontSendNotification);
    combNow.reset();
    if (!controller.reading(first, second)) return;
    combNow = NamedCurve{combResponse(*controller.measurement()->spectra, first, second,
                                      controller.adjustments()[at(first)], controller.adjustments()[at(second)]),
                         "now", ""};
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

void PairPanel::show(PlotView& view, Plot plot, bool ofSetting) {
    plot.title = view.getTitle().toStdString();
    plot.subject = told.names;
    plot.remark = told.sentence + (controller.measurement() ? dot + words::reads(controller) : "");
    if (ofSetting && !told.now.empty()) plot.remark += dot + told.now;
    view.show(std::move(plot));
}

Band PairPanel::band() const {
    return controller.measurement() ? controller.measurement()->options.band : lowMidBand;
}

void PairPanel::showComb() {
    std::optional<NamedCurve> bestCurve;
    if (const auto best = curves ? bestProposal() : std::nullopt)
        bestCurve =
            NamedCurve{combResponse(*controller.measurement()->spectra, first, second, best->first, best->second),
                       "best proposal: " + words::versionName(best->kind),
                       "best (" + std::to_string(indexOf(best->kind) + 1) + ")"};
    show(comb,
         plotComb(curves ? &curves->comb : nullptr, combNow ? &*combNow : nullptr, bestCurve ? &*bestCurve : nullptr,
                  band()),
         true);
}

void PairPanel::showCoherence() {
    show(coherence, plotCoherence(curves ? &curves->coherence : nullptr, band()), false);
}

void PairPanel::showLag() {
    const auto shift =
        first >= 0 ? PairShift(controller.adjustments()[at(first)], controller.adjustments()[at(second)]) : PairShift();
    show(lag,
         plotLag(curves ? controller.reading(first, second) : nullptr, curves ? *curves : PairCurves(), shift, "now"),
         true);
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
    return Seconds(static_cast<double>(2.0f * (x - frame.getX()) / frame.getWidth() - 1.0f) * span().value);
}

float PairPanel::placeOfLag(Seconds value) const {
    const auto frame = lag.frame();
    return frame.getCentreX() + frame.getWidth() / 2.0f * static_cast<float>(value / span());
}

// ---- to take away

std::string PairPanel::inWords() const {
    return lines(told);
}

void PairPanel::copyWords() {
    const auto lines = inWords();
    if (lines.empty()) return;
    toClipboard(ui::text(lines));
    controller.say("Copied: " + told.names + " in words.");
}

void PairPanel::askWhereToSaveAll() {
    saver.askWhereToSaveAll();
}

void PairPanel::saveAll(const std::filesystem::path& folder) {
    saver.saveAll(folder);
}

// ---- the lag plot

PairPanel::LagPlot::LagPlot(PairPanel& p) : PlotView("Correlation over lag"), panel(p) {
    setMouseCursor(juce::MouseCursor::LeftRightResizeCursor);
    saveButton().setMouseCursor(juce::MouseCursor::NormalCursor);
}

void PairPanel::LagPlot::mouseDown(const juce::MouseEvent& event) {
    PlotView::mouseDown(event);
    if (panel.second >= 0 && panel.curves) nudgeBefore = panel.controller.adjustments()[at(panel.second)].nudge;
}

void PairPanel::LagPlot::mouseDrag(const juce::MouseEvent& event) {
    if (panel.second < 0 || !panel.curves || event.mods.isPopupMenu()) return;
    const double perPixel = 2.0 * panel.span().value / static_cast<double>(frame().getWidth());
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
