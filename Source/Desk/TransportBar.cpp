#include "Desk/TransportBar.h"

#include "Core/Measure/CrossSpectra.h"
#include "Desk/Look.h"
#include "Desk/Words.h"
#include "Session/Amounts.h"
#include "Session/Words.h"

#include <algorithm>
#include <cmath>

namespace spillwright::desk {

namespace {

constexpr double quietestOutputDb = -60.0;
constexpr float meterFloorDb = -60.0f;
constexpr float meterFallDb = 0.8f; ///< A tick.
constexpr int ticksOfGuard = 45;
constexpr int leftWidth = 172, rightWidth = 292, rowHeight = 26;

float decibels(float amplitude) {
    return amplitude > 0.0f ? static_cast<float>(decibelsOfAmplitude(static_cast<double>(amplitude))) : -100.0f;
}

} // namespace

TransportBar::TransportBar(Controller& c, Player& p, OutputDevice* d)
    : controller(c), player(p), device(d), wave(*this) {
    setTitle("Transport");
    setOpaque(true);
    wave.setTitle("Waveform of the sum");
    play.onClick = [this] { playOrStop(); };
    play.explanation = [] { return "Play or stop (" + keyOf(CommandId::playStop) + ")"; };
    level.setSliderStyle(juce::Slider::LinearHorizontal);
    level.setTextBoxStyle(juce::Slider::NoTextBox, true, 0, 0);
    level.setRange(quietestOutputDb, 0.0, 0.5);
    level.setValue(player.outputLevel().value, juce::dontSendNotification);
    level.setTitle("Output level");
    level.setTooltip("Output level of this program (+ and -)");
    level.onValueChange = [this] {
        player.setOutputLevel(Decibels(level.getValue()));
        if (onLevel) onLevel(player.outputLevel());
        repaint();
    };
    const std::pair<KeyButton*, CommandId> buttons[] = {
        {&match, CommandId::matchLoudness},   {&blind, CommandId::blindTest},
        {&difference, CommandId::difference}, {&mono, CommandId::mono},
        {&sideOnly, CommandId::sideOnly},     {&bandOnly, CommandId::bandOnly},
        {&spillSolo, CommandId::spillSolo},   {&deviceButton, CommandId::audioDevice}};
    for (const auto& [button, id] : buttons) {
        button->onClick = [this, wanted = id] {
            if (onCommand) onCommand(wanted);
        };
        addChildComponent(button);
    }
    addAndMakeVisible(play);
    addAndMakeVisible(wave);
    addAndMakeVisible(meter);
    addAndMakeVisible(level);
    changed(~0u);
}

double TransportBar::seconds(std::int64_t sample) const {
    return controller.recording() ? static_cast<double>(sample) / controller.recording()->sampleRate() : 0.0;
}

std::int64_t TransportBar::length() const {
    return controller.recording() ? controller.recording()->length() : 0;
}

void TransportBar::refreshRow() {
    const auto& how = controller.listening();
    const auto from = controller.differenceFrom();
    const bool open = controller.measurement() != nullptr;
    const auto words = [open](std::string text) { return open ? text : std::string(); };
    std::string loudness = "match loudness";
    if (controller.matchesLoudness())
        loudness = controller.loudnessKnown()
                       ? "matched " + signedAmount(controller.compensation(controller.adjustments()).value, 1) + " dB" +
                             (controller.matchedInFull(controller.adjustments()) ? "" : ", no more")
                       : "matched soon";
    match.show(words(loudness), CommandId::matchLoudness, controller.matchesLoudness());
    blind.show(words("blind"), CommandId::blindTest, false);
    difference.show(words(from ? "difference from " + std::to_string(indexOf(*from) + 1) : "difference"),
                    CommandId::difference, from.has_value());
    mono.show(words("mono"), CommandId::mono, how.sides == Listening::Sides::mono);
    sideOnly.show(words("side"), CommandId::sideOnly, how.sides == Listening::Sides::side);
    bandOnly.show(words("band"), CommandId::bandOnly, how.band.has_value());
    const int source = controller.chosenSource();
    spillSolo.show(source >= 0 && source < controller.sourceCount() ? "spill of " + controller.shownSourceName(source)
                                                                    : "",
                   CommandId::spillSolo, controller.spillSoloed());
    deviceButton.show("device", CommandId::audioDevice, false);
    resized();
}

/// A device that goes stops the sound; when it comes back the sound goes on.
void TransportBar::followDevice() {
    if (!device) return;
    const bool there = device->available();
    if (deviceThere && !there) {
        goOnWhenBack = player.playing();
        player.stop();
        controller.say(device->state(), true);
    } else if (!deviceThere && there && std::exchange(goOnWhenBack, false)) {
        player.play();
        controller.say("The sound goes on through " + device->state() + ".");
    }
    deviceThere = there;
}

void TransportBar::changed(unsigned what) {
    if (what & (Controller::recordingChanged | Controller::measurementChanged | Controller::listeningChanged |
                Controller::sourcesChanged | Controller::versionsChanged | Controller::settingChanged))
        refreshRow();
    // The highest peak is that of one setting.
    if (what & (Controller::settingChanged | Controller::recordingChanged) &&
        std::exchange(peaksOf, controller.heardAdjustments()) != controller.heardAdjustments())
        player.resetMeters();
    if (what & Controller::recordingChanged) {
        play.setEnabled(controller.recording() != nullptr);
        goOnWhenBack = false; // that was another recording
    }
    if (what & (Controller::recordingChanged | Controller::waveformChanged)) wave.repaint();
    if (what & (Controller::readingsChanged | Controller::sourcesChanged)) wave.repaint();
    if (what & Controller::recordingChanged) repaint();
}

void TransportBar::playOrStop() {
    if (!controller.recording()) return;
    goOnWhenBack = false;
    if (player.playing())
        player.stop();
    else if (device && !device->available())
        controller.say("No sound can be played: " + device->state(), true);
    else {
        player.resetMeters(); // the highest true peak is that since playing began
        player.play();
    }
    tick();
}

void TransportBar::toStart() {
    if (controller.recording()) player.seek(player.loopFrom());
}

void TransportBar::setLoop(std::int64_t from, std::int64_t to) {
    player.setLoop(from, to);
    controller.setLoop(Seconds(seconds(player.loopFrom())), Seconds(seconds(player.loopTo())));
    wave.repaint();
    repaint();
}

void TransportBar::loopWhole() {
    if (controller.recording()) setLoop(0, length());
}

Moments TransportBar::loop(const Moments& moments) {
    const Moments before{Seconds(seconds(player.loopFrom())), Seconds(seconds(player.loopTo()))};
    const double rate = controller.recording()->sampleRate();
    const auto sampleOf = [&](Seconds time) {
        return std::clamp<std::int64_t>(std::llround(time.value * rate), 0, length());
    };
    setLoop(sampleOf(moments.from), sampleOf(moments.to));
    player.seek(player.loopFrom());
    tick();
    return before;
}

void TransportBar::loopNextLeading() {
    const auto moments = controller.leading();
    if (moments.empty()) {
        controller.say(controller.chosenSource() < 0
                           ? "No sources are told apart yet."
                           : controller.shownSourceName(controller.chosenSource()) + " never plays nearly alone.");
        return;
    }
    const double rate = controller.recording()->sampleRate();
    const auto same = [&](Seconds time, std::int64_t sample) {
        return std::abs(time.value * rate - static_cast<double>(sample)) < 1.0;
    };
    std::size_t next = 0;
    for (std::size_t k = 0; k < moments.size(); ++k)
        if (same(moments[k].from, player.loopFrom()) && same(moments[k].to, player.loopTo()))
            next = (k + 1) % moments.size();
    loop(moments[next]);
}

void TransportBar::start() {
    if (!player.playing()) playOrStop();
}

void TransportBar::louder(double dB) {
    level.setValue(level.getValue() + dB, juce::sendNotificationSync);
}

void TransportBar::tick() {
    followDevice();
    if (play.playing != player.playing()) {
        play.playing = player.playing();
        play.repaint();
    }
    const auto meters = player.meters();
    const auto fall = [](float& shown, float& held, float amplitude) {
        const float now = decibels(amplitude);
        shown = std::max(now, shown - meterFallDb);
        held = std::max(shown, held - meterFallDb * 0.2f);
    };
    const float before = std::max({meter.left, meter.right, meter.heldLeft, meter.heldRight});
    fall(meter.left, meter.heldLeft, meters.peakLeft);
    fall(meter.right, meter.heldRight, meters.peakRight);
    if (std::max({before, meter.left, meter.right}) > meterFloorDb) meter.repaint();

    readMeters(meters);
    const bool guardBefore = guardFor > 0;
    guardFor = meters.guardActive ? ticksOfGuard : std::max(0, guardFor - 1);
    std::string state = device ? device->state() : "";
    if (dropouts != meters.dropouts || guardBefore != (guardFor > 0) || state != shownState) {
        if (meters.dropouts > dropouts)
            controller.say("The disk was too slow: the sound faded out and goes on where it was as soon as it can. "
                           "Close what else uses the disk, or copy the recording to a faster one.");
        dropouts = meters.dropouts;
        shownState = std::move(state);
        repaint(getLocalBounds().removeFromRight(rightWidth));
    }
    if (const auto position = player.position(); position != shownPosition) {
        const auto edge = [&](std::int64_t sample) {
            const int x = juce::roundToInt(wave.placeOf(sample));
            wave.repaint(x - 3, 0, 6, wave.getHeight());
        };
        edge(shownPosition);
        shownPosition = position;
        edge(shownPosition);
        repaint(getLocalBounds().removeFromLeft(leftWidth));
    }
    if (const auto trouble = player.trouble();
        !trouble.empty() && (!controller.notice() || controller.notice()->text != trouble))
        controller.say(trouble, true);
}

void TransportBar::readMeters(const Player::Meters& meters) {
    constexpr int every = 6, everyMoment = 8; // ticks
    ++ticks;
    controller.setMetered(meters.sum.momentaryLufs);
    const bool heard = meters.sum.left.rmsDb || meters.sum.right.rmsDb;
    if (!heard)
        controller.forgetMoment();
    else if (ticks % everyMoment == 0 && controller.measurement() && !controller.readingMoment())
        controller.readMoment(player.samplesAround(2 * usualWindow(controller.recording()->sampleRate())));
    if (ticks % every != 0) return;
    const auto amount = [](const std::optional<double>& value) {
        return value ? signedAmount(*value, 1) : std::string("\u2013");
    };
    // As it would be rendered: without what the version is turned by to be as loud as the others.
    const double turned = controller.heardMix().gain.value;
    const auto rendered = [&](const std::optional<double>& value) {
        return value ? std::optional(*value - turned) : value;
    };
    const auto higher = [](const std::optional<double>& a, const std::optional<double>& b) {
        return a && b ? std::optional(std::max(*a, *b)) : a ? a : b;
    };
    const auto& sum = meters.sum;
    const std::string newLevels = "M " + amount(rendered(sum.momentaryLufs)) + "   S " +
                                  amount(rendered(sum.shortTermLufs)) + " LUFS   RMS " +
                                  amount(rendered(higher(sum.left.rmsDb, sum.right.rmsDb)));
    const auto highest = rendered(higher(sum.left.highestTruePeakDb, sum.right.highestTruePeakDb));
    const bool nowOver = highest && *highest > 0.0;
    const std::string newPeaks = "true peak " + amount(highest) + (nowOver ? " !" : "") + "   left to right " +
                                 (sum.correlation ? signedAmount(*sum.correlation, 2) : "\u2013");
    const std::string newGains =
        "adds now " + amount(controller.momentGainDb()) + "   predicted " + amount(controller.gainNowDb()) + " dB";
    if (newLevels == levels && newPeaks == peaks && newGains == gains) return;
    levels = newLevels;
    peaks = newPeaks;
    over = nowOver;
    gains = newGains;
    repaint(getLocalBounds().removeFromRight(rightWidth));
}

void TransportBar::paint(juce::Graphics& g) {
    const auto& p = ui::palette();
    g.fillAll(p.paper);
    const auto bounds = getLocalBounds().toFloat();
    auto leftPart = bounds.withWidth(static_cast<float>(leftWidth)).withTrimmedLeft(74.0f);
    const bool open = controller.recording() != nullptr;
    ui::drawFigures(g, open ? clockText(seconds(std::max<std::int64_t>(0, shownPosition)), true) : "\u2013:\u2013",
                    leftPart.withSizeKeepingCentre(leftPart.getWidth(), 22.0f).translated(0.0f, -10.0f),
                    juce::Justification::left, 16.0f, open ? p.ink : p.muted, true);
    if (open) {
        const bool whole = player.loopFrom() == 0 && player.loopTo() == length();
        ui::draw(g,
                 whole ? "loops the whole"
                       : "loop " + clockText(seconds(player.loopFrom()), false) + "\u2013" +
                             clockText(seconds(player.loopTo()), false),
                 leftPart.withSizeKeepingCentre(leftPart.getWidth(), 18.0f).translated(0.0f, 10.0f),
                 juce::Justification::centredLeft, 11.5f, p.muted);
    }

    auto rightPart = bounds.withLeft(bounds.getRight() - static_cast<float>(rightWidth)).reduced(16.0f, 8.0f);
    ui::draw(g, "output", rightPart.removeFromTop(18.0f).withWidth(44.0f), juce::Justification::centredLeft, 11.5f,
             p.muted);
    rightPart.removeFromTop(4.0f);
    auto levelLine = rightPart.removeFromTop(20.0f);
    ui::draw(g, "level", levelLine.removeFromLeft(46.0f), juce::Justification::centredLeft, 11.5f, p.muted);
    ui::drawFigures(g, signedAmount(level.getValue(), 1) + " dB", levelLine.removeFromRight(64.0f),
                    juce::Justification::right, 12.0f, p.ink);
    rightPart.removeFromTop(3.0f);
    if (open)
        for (const auto* line : {&levels, &peaks, &gains})
            ui::drawFigures(g, *line, rightPart.removeFromTop(16.0f), juce::Justification::left, 11.5f,
                            line == &peaks && over ? p.cancels : p.ink, line == &peaks && over);
    std::string guard = guardFor > 0 ? "guard: holding peaks down" : "guard: idle";
    if (dropouts > 0) guard += " \u00b7 " + std::to_string(dropouts) + (dropouts == 1 ? " dropout" : " dropouts");
    ui::draw(g, guard, rightPart.removeFromTop(16.0f), juce::Justification::centredLeft, 11.5f,
             guardFor > 0 ? p.cancels : p.muted, guardFor > 0);
    g.setColour(p.muted);
    g.setFont(ui::font(11.5f));
    g.drawFittedText(ui::text(shownState),
                     rightPart.withTrimmedRight(static_cast<float>(deviceButton.getWidth()) + 6.0f).toNearestInt(),
                     juce::Justification::topLeft, 2, 1.0f);
}

void TransportBar::resized() {
    const auto bounds = getLocalBounds();
    play.setBounds(18, bounds.getCentreY() - 22, 44, 44);
    auto middle = bounds.withTrimmedLeft(leftWidth).withTrimmedRight(rightWidth).reduced(8, 6);
    int x = middle.getX(), rows = 0;
    for (KeyButton* button : {&match, &blind, &difference, &mono, &sideOnly, &bandOnly, &spillSolo}) {
        if (!button->isVisible()) continue;
        if (rows == 0 || x + button->getWidth() > middle.getRight()) {
            x = middle.getX();
            ++rows;
        }
        button->setTopLeftPosition(x, middle.getY() + (rows - 1) * rowHeight);
        x += button->getWidth() + 6;
    }
    middle.removeFromTop(rows * rowHeight);
    wave.setBounds(middle);
    auto right = bounds.withLeft(bounds.getRight() - rightWidth).reduced(16, 8);
    meter.setBounds(right.removeFromTop(18).withTrimmedLeft(48));
    right.removeFromTop(4);
    level.setBounds(right.removeFromTop(20).withTrimmedLeft(46).withTrimmedRight(62));
    deviceButton.setTopRightPosition(right.getRight(), right.getBottom() - deviceButton.getHeight());
}

void TransportBar::PlayButton::paintButton(juce::Graphics& g, bool highlighted, bool down) {
    const auto& p = ui::palette();
    const auto area = getLocalBounds().toFloat().reduced(1.0f);
    g.setColour(!isEnabled()  ? p.rules
                : down        ? p.ink
                : highlighted ? p.accent.interpolatedWith(p.ink, 0.25f)
                              : p.accent);
    g.fillEllipse(area);
    g.setColour(p.onAccent);
    const auto c = area.getCentre();
    if (playing) {
        g.fillRect(c.x - 7.0f, c.y - 7.0f, 14.0f, 14.0f);
    } else {
        juce::Path triangle;
        triangle.addTriangle(c.x - 6.0f, c.y - 9.0f, c.x - 6.0f, c.y + 9.0f, c.x + 10.0f, c.y);
        g.fillPath(triangle);
    }
    if (hasKeyboardFocus(true)) {
        g.setColour(p.ink);
        g.drawEllipse(area.reduced(1.0f), 2.0f);
    }
}

std::int64_t TransportBar::Wave::sampleAt(float x) const {
    const double share = std::clamp(static_cast<double>(x) / std::max(1, getWidth()), 0.0, 1.0);
    return static_cast<std::int64_t>(share * static_cast<double>(bar.length()));
}

float TransportBar::Wave::placeOf(std::int64_t sample) const {
    const auto total = std::max<std::int64_t>(1, bar.length());
    return static_cast<float>(static_cast<double>(sample) / static_cast<double>(total) * getWidth());
}

void TransportBar::Wave::paint(juce::Graphics& g) {
    const auto& p = ui::palette();
    const auto area = getLocalBounds().toFloat();
    if (!bar.controller.recording()) {
        g.setColour(p.rules);
        g.fillRect(area.withSizeKeepingCentre(area.getWidth(), 1.0f));
        return;
    }
    const float from = placeOf(bar.player.loopFrom()), to = placeOf(bar.player.loopTo());
    const bool whole = bar.player.loopFrom() == 0 && bar.player.loopTo() == bar.length();
    if (!whole) {
        g.setColour(p.accent.withAlpha(0.13f));
        g.fillRect(area.withLeft(from).withRight(to));
        g.setColour(p.accent);
        g.fillRect(from, area.getY(), 1.0f, area.getHeight());
        g.fillRect(to - 1.0f, area.getY(), 1.0f, area.getHeight());
    }
    const float middle = area.getCentreY();
    if (const auto& peaks = bar.controller.waveform(); peaks && !peaks->high.empty()) {
        float largest = 1e-4f;
        for (std::size_t i = 0; i < peaks->high.size(); ++i)
            largest = std::max({largest, peaks->high[i], -peaks->low[i]});
        const float scale = area.getHeight() * 0.47f / largest;
        const float columnWidth = 2.0f;
        const auto clip = g.getClipBounds().toFloat();
        for (float x = std::floor(clip.getX() / columnWidth) * columnWidth; x < clip.getRight(); x += columnWidth) {
            const auto total = peaks->high.size();
            const auto first = std::min(
                total - 1, static_cast<std::size_t>(std::max(0.0f, x) / area.getWidth() * static_cast<float>(total)));
            const auto last =
                std::max(first + 1, std::min(total, static_cast<std::size_t>((x + columnWidth) / area.getWidth() *
                                                                             static_cast<float>(total))));
            const float low = *std::min_element(peaks->low.begin() + static_cast<long>(first),
                                                peaks->low.begin() + static_cast<long>(last));
            const float high = *std::max_element(peaks->high.begin() + static_cast<long>(first),
                                                 peaks->high.begin() + static_cast<long>(last));
            const bool inside = !whole && x >= from && x < to;
            g.setColour(inside ? p.ink.interpolatedWith(p.wave, 0.25f) : p.wave);
            g.fillRect(x, middle - scale * high, columnWidth - 0.5f, std::max(1.0f, scale * (high - low)));
        }
    } else {
        g.setColour(p.rules);
        g.fillRect(area.withSizeKeepingCentre(area.getWidth(), 1.0f));
    }
    // The moments that are read: whole stretches, so that they may begin and end beside the loop.
    if (const auto read = bar.controller.readMoments()) {
        const double rate = bar.controller.recording()->sampleRate();
        const auto place = [&](Seconds time) { return placeOf(static_cast<std::int64_t>(time.value * rate)); };
        const auto line = area.withLeft(place(read->from)).withRight(place(read->to)).removeFromTop(3.0f);
        g.setColour(p.accent);
        g.fillRect(line);
        const std::string word = "read";
        if (const float width = ui::width(word, 10.5f) + 4.0f; width < line.getWidth())
            ui::draw(g, word, {line.getX() + 4.0f, 4.0f, width, 13.0f}, juce::Justification::centredLeft, 10.5f,
                     p.accent);
    }
    // When the chosen source plays nearly alone.
    for (const auto& moments : bar.controller.leading()) {
        const double rate = bar.controller.recording()->sampleRate();
        const float x = placeOf(static_cast<std::int64_t>(moments.from.value * rate));
        const float end = placeOf(static_cast<std::int64_t>(moments.to.value * rate));
        g.setColour(p.accent.withAlpha(0.75f));
        g.fillRoundedRectangle({x, area.getBottom() - 4.0f, std::max(3.0f, end - x), 4.0f}, 2.0f);
    }
    g.setColour(p.accent);
    g.fillRect(placeOf(bar.player.position()) - 0.75f, area.getY(), 1.5f, area.getHeight());
}

void TransportBar::Wave::mouseDown(const juce::MouseEvent&) {}

void TransportBar::Wave::mouseDrag(const juce::MouseEvent& event) {
    if (!bar.controller.recording() || std::abs(event.getDistanceFromDragStartX()) < 4) return;
    const auto a = sampleAt(static_cast<float>(event.getMouseDownX())), b = sampleAt(event.position.x);
    if (a == b) return;
    bar.setLoop(std::min(a, b), std::max(a, b));
}

void TransportBar::Wave::mouseUp(const juce::MouseEvent& event) {
    if (!bar.controller.recording()) return;
    if (std::abs(event.getDistanceFromDragStartX()) >= 4)
        bar.player.seek(bar.player.loopFrom());
    else
        bar.player.seek(sampleAt(event.position.x));
    bar.tick();
}

void TransportBar::Wave::mouseDoubleClick(const juce::MouseEvent&) {
    bar.loopWhole();
}

void TransportBar::Meter::paint(juce::Graphics& g) {
    const auto& p = ui::palette();
    auto area = getLocalBounds().toFloat();
    const auto bar = [&](juce::Rectangle<float> lane, float shown, float held) {
        const auto share = [](float dB) { return std::clamp(1.0f - dB / meterFloorDb, 0.0f, 1.0f); };
        g.setColour(p.rules);
        g.fillRect(lane);
        g.setColour(p.ink);
        g.fillRect(lane.withWidth(lane.getWidth() * share(shown)));
        if (held > meterFloorDb)
            g.fillRect(lane.getX() + lane.getWidth() * share(held) - 1.5f, lane.getY(), 1.5f, lane.getHeight());
    };
    const float lane = 5.0f;
    auto text = area.removeFromRight(48.0f);
    const float loudest = std::max(heldLeft, heldRight);
    ui::drawFigures(g, loudest > meterFloorDb ? signedAmount(static_cast<double>(loudest), 1) : "\u2212\u221e", text,
                    juce::Justification::right, 12.0f, p.ink);
    bar({area.getX(), area.getCentreY() - lane - 1.0f, area.getWidth(), lane}, left, heldLeft);
    bar({area.getX(), area.getCentreY() + 1.0f, area.getWidth(), lane}, right, heldRight);
}

} // namespace spillwright::desk
