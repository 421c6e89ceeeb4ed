// The practice room's part that has to do with where things stand and what they look like.

#include "Desk/Look.h"
#include "Desk/PracticeSheet.h"

#include "Session/Amounts.h"

#include <algorithm>

namespace spillwright::desk {

namespace {

constexpr int border = 14, gap = 8, lineHeight = 26, headHeight = 17, numbersLine = 19;
constexpr int stepsHeight = 28, titleHeight = 38, backWidth = 64;
/// Of a microphone's line, from the right: mute, flip, and the fields from the last one on.
constexpr int muteWidth = 38, flipWidth = 34;
constexpr std::array fieldWidths{46, 58, 50, 54, 50};
/// Of the numbers, in parts of the whole; a width of 0 is left out.
struct Column {
    const char* head;
    float usual, projected;
};
constexpr std::array<Column, 8> columns{{{"", 0.09f, 0.17f},
                                         {"metres", 0.14f, 0.11f},
                                         {"height", 0.0f, 0.10f},
                                         {"arrival ms", 0.17f, 0.14f},
                                         {"level dB", 0.15f, 0.12f},
                                         {"ratio", 0.14f, 0.10f},
                                         {"notch Hz", 0.15f, 0.12f},
                                         {"coherence", 0.16f, 0.14f}}};
constexpr double leastTurnedDownDb = 0.1; // that is told

} // namespace

void PracticeSheet::setProjected(bool wanted) {
    projected = wanted;
    if (onProjector) onProjector(projected);
    projector.setToggleState(projected, juce::dontSendNotification);
    page.setVisible(!projected);
    impulse.setVisible(!projected);
    fillPage();
    fill();
    for (auto& row : rows)
        for (auto* field : row->fields())
            field->editor.applyColourToAllText(ui::palette().ink);
    if (isShowing() && !hasKeyboardFocus(true)) grabKeyboardFocus(); // what had it may have gone
    resized();
    rested = false; // drawn anew, thicker or thinner
    reckon();
}

void PracticeSheet::resized() {
    const float scale = projected ? projectorScale : 1.0f;
    board.setTransform(juce::AffineTransform::scale(scale));
    board.setBounds(0, 0, static_cast<int>(static_cast<float>(getWidth()) / scale),
                    static_cast<int>(static_cast<float>(getHeight()) / scale));
    if (over) over->setBounds(board.getLocalBounds());
    layOut();
}

void PracticeSheet::placeSteps(juce::Rectangle<int> row) {
    const int count = std::max<int>(1, static_cast<int>(lesson.steps.size()));
    const int width = std::min(36, row.getWidth() / count);
    for (int k = 0; k < mostSteps; ++k)
        if (stepButton(k).isVisible()) stepButton(k).setBounds(row.removeFromLeft(width).withTrimmedRight(3));
}

void PracticeSheet::placeLevel(juce::Rectangle<int>& row) {
    louder.setBounds(row.removeFromRight(22).withSizeKeepingCentre(22, 22));
    levelArea = row.removeFromRight(58);
    quieter.setBounds(row.removeFromRight(22).withSizeKeepingCentre(22, 22));
}

int PracticeSheet::numbersHeight() const {
    return numbersLine * (1 + static_cast<int>(shownMicrophones()));
}

void PracticeSheet::layOut() {
    auto area = board.getLocalBounds().reduced(border, 10);
    if (area.isEmpty()) return;
    auto top = area.removeFromTop(30);
    leaveButton.setBounds(top.removeFromRight(70));
    top.removeFromRight(gap);
    projector.setBounds(top.removeFromRight(120));
    top.removeFromRight(2 * gap);
    if (!projected) {
        placeLevel(top);
        top.removeFromRight(2 * gap);
    }
    play.setBounds(top.removeFromRight(64));
    top.removeFromRight(gap);
    if (!projected) {
        sound.setBounds(top.removeFromRight(170));
        top.removeFromRight(gap);
    }
    openButton.setVisible(!projected);
    if (!projected) {
        auto beside = top;
        choice.setBounds(beside.removeFromLeft(std::min(top.getWidth() - 70 - gap, 420)));
        beside.removeFromLeft(gap);
        openButton.setBounds(beside.removeFromLeft(70));
    } else
        choice.setBounds(top.withWidth(std::min(top.getWidth(), 420)));
    area.removeFromTop(gap);

    toldArea = area.removeFromBottom(projected ? 54 : 20);
    if (projected)
        layOutProjected(area);
    else
        layOutFields(area);
    referee.setBounds(numbers.withHeight(numbersLine).withWidth(34).reduced(0, 1));
}

void PracticeSheet::layOutProjected(juce::Rectangle<int> area) {
    auto row = area.removeFromTop(stepsHeight);
    placeSteps(row.removeFromLeft(std::min(row.getWidth() / 2, 300)));
    answer.setBounds(row.removeFromRight(130));
    row.removeFromRight(gap);
    back.setBounds(row.removeFromRight(backWidth));
    stepTitle = row.reduced(gap, 0);
    area.removeFromTop(gap);
    auto side = area.removeFromLeft(area.getWidth() * 2 / 5);
    auto below = side.removeFromBottom(28);
    placeLevel(below);
    sound.setBounds(below.withTrimmedRight(gap));
    plan.setBounds(side);
    area.removeFromLeft(gap);
    numbers = area.removeFromBottom(numbersHeight());
    area.removeFromBottom(gap);
    comb.setBounds(area);
}

void PracticeSheet::layOutFields(juce::Rectangle<int> area) {
    auto words = area.removeFromLeft(std::clamp(area.getWidth() * 26 / 100, 262, 420));
    area.removeFromLeft(border);
    placeSteps(words.removeFromTop(stepsHeight));
    stepTitle = words.removeFromTop(titleHeight);
    back.setBounds(stepTitle.withLeft(stepTitle.getRight() - backWidth).withSizeKeepingCentre(backWidth, 26));
    if (back.isVisible()) stepTitle.removeFromRight(backWidth + gap);
    answer.setBounds(words.removeFromBottom(30));
    words.removeFromBottom(gap);
    page.setBounds(words);

    auto middle = area.removeFromLeft(area.getWidth() * 11 / 20);
    area.removeFromLeft(border);
    const auto lines = static_cast<int>(shownMicrophones()) + 1; // the source's first
    auto fields = middle.removeFromBottom(lineHeight * lines);
    middle.removeFromBottom(headHeight); // their heads
    auto sourceLine = fields.removeFromTop(lineHeight).withTrimmedBottom(3);
    for (std::size_t k = 0; k < shownMicrophones(); ++k) {
        auto line = fields.removeFromTop(lineHeight).withTrimmedBottom(3);
        auto& row = *rows[k];
        row.mute.setBounds(line.removeFromRight(muteWidth));
        line.removeFromRight(3);
        row.flip.setBounds(line.removeFromRight(flipWidth));
        line.removeFromRight(3);
        auto some = row.fields();
        std::reverse(some.begin(), some.end());
        for (std::size_t each = 0; each < some.size(); ++each)
            some[each]->editor.setBounds(line.removeFromRight(fieldWidths[each]).withTrimmedRight(3));
    }
    const auto& below = rows[0]->height.editor;
    sourceHeight.editor.setBounds(sourceLine.withX(below.getX()).withWidth(below.getWidth()));
    auto walls = middle.removeFromBottom(lineHeight).withTrimmedBottom(3);
    middle.removeFromBottom(2 * headHeight);
    const int width = walls.getWidth() / (surfaces + 1);
    temperature.editor.setBounds(walls.removeFromLeft(width).withTrimmedRight(3));
    for (auto& field : absorption)
        field.editor.setBounds(walls.removeFromLeft(width).withTrimmedRight(3));
    plan.setBounds(middle);

    numbers = area.removeFromBottom(numbersHeight());
    area.removeFromBottom(gap);
    comb.setBounds(area.removeFromTop(area.getHeight() * 3 / 5));
    area.removeFromTop(gap);
    impulse.setBounds(area);
}

void PracticeSheet::paint(juce::Graphics& g) {
    g.fillAll(ui::palette().paper);
}

std::string PracticeSheet::belowLine() const {
    if (!told.empty()) return told;
    if (const double down = heard->turnedDown().value; down >= leastTurnedDownDb)
        return "Turned down by " + unsignedAmount(down, 1) +
               " dB to spare your ears: a change is at most 6 dB louder than the step.";
    return "Keys: 1 to 0 steps, A answer, P projector, R reference; on the plan arrows, Page up and down. All of "
           "them: " +
           keyOf(CommandId::keys) + ". What you see: " + keyOf(CommandId::glossary) + ".";
}

void PracticeSheet::paintBoard(juce::Graphics& g) {
    const auto& p = ui::palette();
    ui::draw(g, signedAmount(player.outputLevel().value, 0) + " dB", levelArea.toFloat(), juce::Justification::centred,
             12.0f, p.ink);
    g.setColour(p.ink);
    g.setFont(ui::font(13.0f, true));
    g.drawFittedText(ui::text(shownTitle()), stepTitle, juce::Justification::centredLeft, 2, 1.0f);
    const bool turnedDown = heard->turnedDown().value >= leastTurnedDownDb;
    auto below = toldArea;
    if (!projected || !told.empty() || turnedDown) {
        const auto colour = told.empty() ? turnedDown ? p.ink : p.muted : toldWrong ? p.cancels : p.ink;
        ui::drawWhole(g, belowLine(), (projected ? below.removeFromTop(18) : below).toFloat(),
                      juce::Justification::centredLeft, 12.0f, colour);
    }
    if (projected && told.empty()) {
        g.setColour(p.ink);
        g.setFont(ui::font(12.5f));
        g.drawFittedText(ui::text(answered ? lesson.answer : lesson.question), below, juce::Justification::centredLeft,
                         3, 1.0f);
    }
    paintNumbers(g);
    if (!projected) paintFields(g);
}

std::string PracticeSheet::nameOf(std::size_t microphone) const {
    const auto& one = room.microphones[microphone];
    const double pan = one.adjustment.pan.value_or(0.0);
    return std::to_string(microphone + 1) + "  " + one.name + (pan == 0.0 ? "" : " \u00b7 " + panText(pan));
}

void PracticeSheet::paintFields(juce::Graphics& g) {
    const auto& p = ui::palette();
    const auto head = [&](const std::string& words, const juce::Component& field) {
        ui::drawWhole(g, words, field.getBounds().withY(field.getY() - headHeight).withHeight(headHeight).toFloat(),
                      juce::Justification::centredLeft, 10.5f, p.muted);
    };
    head("air", temperature.editor);
    for (std::size_t surface = 0; surface < absorption.size(); ++surface)
        head(surfaceWords[surface], absorption[surface].editor);
    const auto& firstWall = absorption.front().editor;
    ui::drawWhole(g, "share of the sound that each surface absorbs, 0 to 1",
                  firstWall.getBounds()
                      .withY(firstWall.getY() - 2 * headHeight)
                      .withHeight(headHeight)
                      .withRight(absorption.back().editor.getRight())
                      .toFloat(),
                  juce::Justification::centredLeft, 10.5f, p.muted);
    head("height m", sourceHeight.editor);
    const auto& first = *rows[0];
    head("delay ms", first.delay.editor);
    head("gain dB", first.gain.editor);
    head("high-pass", first.highPass.editor);
    head("pan", first.pan.editor);
    const auto name = [&](const std::string& words, const juce::Component& field) {
        ui::drawWhole(g, words,
                      juce::Rectangle<int>(plan.getX(), field.getY(), field.getX() - plan.getX() - 4, field.getHeight())
                          .toFloat(),
                      juce::Justification::centredLeft, 12.5f, p.ink);
    };
    name("S  source", sourceHeight.editor);
    for (std::size_t k = 0; k < shownMicrophones(); ++k)
        name(std::to_string(k + 1) + "  " + room.microphones[k].name, rows[k]->height.editor);
}

/// A row a microphone: its direct sound, and what it is against the reference.
void PracticeSheet::paintNumbers(juce::Graphics& g) {
    const auto& p = ui::palette();
    const auto row = [&](int line, const std::array<std::string, columns.size()>& words, float height,
                         juce::Colour colour) {
        auto area = numbers.toFloat().withHeight(numbersLine).translated(0.0f, static_cast<float>(line * numbersLine));
        const float whole = area.getWidth();
        for (std::size_t column = 0; column < columns.size(); ++column) {
            const float share = projected ? columns[column].projected : columns[column].usual;
            if (share == 0.0f) continue;
            ui::drawWhole(g, words[column], area.removeFromLeft(share * whole).withTrimmedRight(2.0f),
                          column == 0 ? juce::Justification::centredLeft : juce::Justification::centredRight, height,
                          colour);
        }
    };
    std::array<std::string, columns.size()> heads;
    std::transform(columns.begin(), columns.end(), heads.begin(), [](const Column& each) { return each.head; });
    row(0, heads, 10.5f, p.muted);
    for (std::size_t k = 0; k < std::min(shownMicrophones(), reading.paths.size()); ++k) {
        const auto& path = reading.paths[k];
        std::array<std::string, columns.size()> words{projected ? nameOf(k) : std::to_string(k + 1),
                                                      unsignedAmount(path.distance.value, 2),
                                                      unsignedAmount(room.microphones[k].position.z, 2),
                                                      signedAmount(inMilliseconds(path.arrival), 2),
                                                      signedAmount(path.level.value, 1),
                                                      "",
                                                      "",
                                                      ""};
        const int other = static_cast<int>(k);
        const auto pair = std::find_if(reading.pairs.begin(), reading.pairs.end(), [&](const PracticePair& each) {
            return each.first == std::min(reference, other) && each.second == std::max(reference, other);
        });
        if (pair != reading.pairs.end()) {
            words[5] = unsignedAmount(pair->distanceRatio, 1) + " : 1";
            words[6] = pair->firstNull ? unsignedAmount(pair->firstNull->value, 0) : "\u2013";
            words[7] = k < coherence.size() ? unsignedAmount(coherence[k], 2) : "";
        }
        row(other + 1, words, 12.0f, room.microphones[k].adjustment.muted ? p.muted : p.ink);
    }
}

} // namespace spillwright::desk
