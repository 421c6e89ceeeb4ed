#include "Desk/TermsSheet.h"

#include "Desk/Look.h"

#include <algorithm>
#include <array>

namespace spillwright::desk {

namespace {

// Of the choices; 0 would be none.
constexpr int idSum = 1, idMean = 2, idWorst = 3;
constexpr int idMono = 1, idStereo = 2;
constexpr int idAlone = 1;                                         // and one more for each group
constexpr int idAsCard = 1;                                        // and one more for each of these:
constexpr std::array ownLimits{0.0, 0.1, 0.3, 0.5, 1.0, 2.0, 5.0}; // ms

juce::String limitWords(double ms) {
    return ms > 0.0 ? "at most " + juce::String(ms) + " ms" : juce::String("not at all");
}

} // namespace

/// One track: its name, the group it moves with, and how far it may be nudged.
struct TermsSheet::Row : juce::Component {
    juce::Label track;
    juce::ComboBox group, largest;
    Row() {
        for (juce::Component* part : std::initializer_list<juce::Component*>{&track, &group, &largest})
            addAndMakeVisible(part);
        track.setFont(ui::font(13.5f));
        track.setMinimumHorizontalScale(1.0f);
        group.addItem("by itself", idAlone);
        for (int k = 0; k < mostGroups; ++k)
            group.addItem("with group " + juce::String::charToString(static_cast<juce::juce_wchar>('A' + k)),
                          idAlone + 1 + k);
        largest.addItem("as far as the card says", idAsCard);
        for (std::size_t k = 0; k < ownLimits.size(); ++k)
            largest.addItem(limitWords(ownLimits[k]), idAsCard + 1 + static_cast<int>(k));
    }
    void resized() override {
        auto area = getLocalBounds().reduced(0, 3);
        track.setBounds(area.removeFromLeft(area.getWidth() * 36 / 100));
        group.setBounds(area.removeFromLeft(area.getWidth() / 2).reduced(4, 0));
        largest.setBounds(area.reduced(4, 0));
    }
};

TermsSheet::TermsSheet(Controller& c) : Sheet("What proposals may do, and for whom"), controller(c) {
    serves.setTitle("Whom proposals serve");
    serves.addItem("the sum of all that sounds, or of the source in focus", idSum);
    serves.addItem("every source's own sum, their mean", idMean);
    serves.addItem("every source's own sum, the one that fares worst first", idWorst);
    sum.setTitle("Which sum");
    sum.addItem("mono", idMono);
    sum.addItem("stereo by the pans, left and right in power", idStereo);
    serves.onChange = sum.onChange = [this] { take(); };
    for (int t = 0; t < controller.trackCount(); ++t) {
        const auto name = controller.tracks()[static_cast<std::size_t>(t)].name;
        auto row = std::make_unique<Row>();
        row->track.setText(ui::text(name), juce::dontSendNotification);
        row->group.setTitle(ui::text("What " + name + " moves with"));
        row->largest.setTitle(ui::text("How far " + name + " may be nudged"));
        row->group.onChange = row->largest.onChange = [this] { take(); };
        list.addAndMakeVisible(*row);
        rows.push_back(std::move(row));
    }
    viewport.setViewedComponent(&list, false);
    viewport.setScrollBarsShown(true, false);
    viewport.setWantsKeyboardFocus(false);
    equallyLoud.setTooltip("Sets the gains, as one step of undo");
    equallyLoud.onClick = [this] { controller.makeEquallyLoud(); };
    propose.setToggleState(true, juce::dontSendNotification); // the one that is meant
    propose.onClick = [this] {
        controller.propose();
        if (onClose) onClose();
    };
    leave.onClick = [this] {
        if (onClose) onClose();
    };
    for (juce::Component* part :
         std::initializer_list<juce::Component*>{&serves, &sum, &viewport, &equallyLoud, &propose, &leave})
        addAndMakeVisible(part);
    fill();
}

TermsSheet::~TermsSheet() = default;

juce::ComboBox& TermsSheet::groupChoice(int track) {
    return rows[static_cast<std::size_t>(track)]->group;
}

juce::ComboBox& TermsSheet::largestChoice(int track) {
    return rows[static_cast<std::size_t>(track)]->largest;
}

void TermsSheet::changed(unsigned what) {
    if (what & (Controller::versionsChanged | Controller::sourcesChanged | Controller::taskChanged)) fill();
}

void TermsSheet::fill() {
    const auto& terms = controller.terms();
    serves.setSelectedId(terms.aim == Aim::sum    ? idSum
                         : terms.aim == Aim::mean ? idMean
                                                  : idWorst,
                         juce::dontSendNotification);
    const bool told = controller.withSources() && controller.sourceCount() > 0;
    serves.setItemEnabled(idMean, told);
    serves.setItemEnabled(idWorst, told);
    sum.setSelectedId(terms.stereo ? idStereo : idMono, juce::dontSendNotification);
    for (std::size_t t = 0; t < rows.size(); ++t) {
        auto& row = *rows[t];
        row.group.setSelectedId(idAlone + terms.group[t], juce::dontSendNotification);
        int id = idAsCard;
        for (std::size_t k = 0; k < ownLimits.size(); ++k)
            if (terms.largest[t] == milliseconds(ownLimits[k])) id = idAsCard + 1 + static_cast<int>(k);
        row.largest.setSelectedId(id, juce::dontSendNotification);
        const bool usable = controller.tracks()[t].state == TrackState::ok;
        row.group.setEnabled(usable);
        row.largest.setEnabled(usable);
        row.track.setColour(juce::Label::textColourId, usable ? ui::palette().ink : ui::palette().muted);
    }
    propose.setEnabled(controller.measurement() && !controller.busy());
    repaint();
}

void TermsSheet::take() {
    Terms terms = controller.terms();
    const int whom = serves.getSelectedId();
    terms.aim = whom == idMean ? Aim::mean : whom == idWorst ? Aim::worst : Aim::sum;
    terms.stereo = sum.getSelectedId() == idStereo;
    for (std::size_t t = 0; t < rows.size(); ++t) {
        terms.group[t] = rows[t]->group.getSelectedId() - idAlone;
        const int limit = rows[t]->largest.getSelectedId() - idAsCard - 1;
        terms.largest[t] =
            limit < 0 ? std::nullopt : std::optional(milliseconds(ownLimits[static_cast<std::size_t>(limit)]));
    }
    controller.setTerms(std::move(terms));
}

juce::Rectangle<int> TermsSheet::pageArea() const {
    return page(760, headHeight + footHeight + 24 + rowHeight * static_cast<int>(rows.size()));
}

void TermsSheet::paint(juce::Graphics& g) {
    Sheet::paint(g);
    const auto& p = ui::palette();
    auto area = pageArea().reduced(28, 16).toFloat();
    ui::draw(g, getTitle().toStdString(), area.removeFromTop(30.0f), juce::Justification::centredLeft, 18.0f, p.ink,
             true);
    ui::draw(g, "Held tracks and linked pairs are set at the tracks. What you choose counts for the next proposals.",
             area.removeFromTop(20.0f), juce::Justification::centredLeft, 12.5f, p.muted);
    area.removeFromTop(6.0f);
    for (const char* words : {"they serve", "summed in"})
        ui::draw(g, words, area.removeFromTop(30.0f).removeFromLeft(110.0f), juce::Justification::centredLeft, 13.0f,
                 p.ink);
    auto heads = area.removeFromTop(22.0f);
    heads.setWidth(static_cast<float>(list.getWidth()));
    ui::draw(g, "track", heads.removeFromLeft(heads.getWidth() * 0.36f), juce::Justification::bottomLeft, 11.5f,
             p.accent, true);
    ui::draw(g, "moves", heads.removeFromLeft(heads.getWidth() / 2.0f).reduced(4.0f, 0.0f),
             juce::Justification::bottomLeft, 11.5f, p.accent, true);
    ui::draw(g, "may be nudged", heads.reduced(4.0f, 0.0f), juce::Justification::bottomLeft, 11.5f, p.accent, true);
}

void TermsSheet::resized() {
    auto area = pageArea().reduced(28, 16);
    auto head = area.removeFromTop(headHeight - 16).withTrimmedTop(56);
    for (auto* choice : {&serves, &sum})
        choice->setBounds(head.removeFromTop(30).withTrimmedLeft(110).reduced(0, 3));
    auto foot = area.removeFromBottom(footHeight - 12);
    leave.setBounds(foot.removeFromRight(110));
    foot.removeFromRight(8);
    propose.setBounds(foot.removeFromRight(110));
    equallyLoud.setBounds(foot.removeFromLeft(190));
    area.removeFromBottom(8);
    viewport.setBounds(area);
    list.setSize(area.getWidth() - viewport.getScrollBarThickness() - 2, rowHeight * static_cast<int>(rows.size()));
    for (std::size_t t = 0; t < rows.size(); ++t)
        rows[t]->setBounds(0, rowHeight * static_cast<int>(t), list.getWidth(), rowHeight);
}

} // namespace spillwright::desk
