#include "Desk/TakeMatch.h"

#include "Desk/Look.h"

#include <algorithm>

namespace spillwright::desk {

namespace {

constexpr int idNone = 1, idFirstTrack = 2;

} // namespace

struct TakeMatch::Row : juce::Component {
    juce::Label track;
    juce::ComboBox is;
    Row() {
        addAndMakeVisible(track);
        addAndMakeVisible(is);
        track.setFont(ui::font(13.0f));
        track.setMinimumHorizontalScale(1.0f);
    }
    void resized() override {
        auto area = getLocalBounds().reduced(0, 2);
        track.setBounds(area.removeFromLeft(area.getWidth() * 45 / 100));
        is.setBounds(area);
    }
};

TakeMatch::TakeMatch(std::span<const TrackInfo> first, std::span<const TrackInfo> second, std::span<const int> now)
    : ofFirst(first.begin(), first.end()), ofSecond(second.begin(), second.end()) {
    setTitle("Which track is which");
    setFocusContainerType(FocusContainerType::keyboardFocusContainer);
    for (std::size_t t = 0; t < ofFirst.size(); ++t) {
        auto row = std::make_unique<Row>();
        row->track.setText(ui::text(ofFirst[t].name), juce::dontSendNotification);
        row->is.setTitle(ui::text("What " + ofFirst[t].name + " of A is in B"));
        row->is.addItem("none of them", idNone);
        for (std::size_t u = 0; u < ofSecond.size(); ++u)
            row->is.addItem(ui::text(ofSecond[u].name), idFirstTrack + static_cast<int>(u));
        row->is.setSelectedId(t < now.size() && now[t] >= 0 ? idFirstTrack + now[t] : idNone,
                              juce::dontSendNotification);
        row->is.onChange = [this, t] { taken(t); };
        list.addAndMakeVisible(*row);
        rows.push_back(std::move(row));
    }
    viewport.setViewedComponent(&list, false);
    viewport.setScrollBarsShown(true, false);
    viewport.setWantsKeyboardFocus(false);
    go.onClick = [this] {
        if (onDone) onDone(matched());
    };
    go.setToggleState(true, juce::dontSendNotification); // the one that is meant
    leave.onClick = [this] {
        if (onDone) onDone(std::nullopt);
    };
    for (juce::Component* part : std::initializer_list<juce::Component*>{&viewport, &leave, &go})
        addAndMakeVisible(part);
}

TakeMatch::~TakeMatch() = default;

juce::ComboBox& TakeMatch::choice(int trackOfFirst) {
    return rows[static_cast<std::size_t>(trackOfFirst)]->is;
}

void TakeMatch::taken(std::size_t chosen) {
    const int id = rows[chosen]->is.getSelectedId();
    if (id == idNone) return;
    for (std::size_t t = 0; t < rows.size(); ++t)
        if (t != chosen && rows[t]->is.getSelectedId() == id)
            rows[t]->is.setSelectedId(idNone, juce::dontSendNotification);
}

std::vector<std::pair<std::string, std::string>> TakeMatch::matched() const {
    std::vector<std::pair<std::string, std::string>> pairs;
    for (std::size_t t = 0; t < rows.size(); ++t) {
        const int track = rows[t]->is.getSelectedId() - idFirstTrack;
        pairs.emplace_back(ofFirst[t].name, track < 0 ? std::string() : ofSecond[static_cast<std::size_t>(track)].name);
    }
    return pairs;
}

void TakeMatch::paint(juce::Graphics& g) {
    const auto& p = ui::palette();
    g.fillAll(p.raised);
    auto area = getLocalBounds().toFloat();
    ui::draw(g, "Which track of B is which of A", area.removeFromTop(22.0f), juce::Justification::centredLeft, 13.0f,
             p.accent, true);
    ui::draw(g, "Tab: the next one   Up, Down: another track", area.removeFromTop(20.0f),
             juce::Justification::centredLeft, 11.5f, p.muted);
}

void TakeMatch::resized() {
    auto area = getLocalBounds().withTrimmedTop(headHeight);
    auto foot = area.removeFromBottom(footHeight).withTrimmedTop(6);
    go.setBounds(foot.removeFromRight(130));
    foot.removeFromRight(8);
    leave.setBounds(foot.removeFromRight(140));
    viewport.setBounds(area);
    list.setSize(area.getWidth() - viewport.getScrollBarThickness() - 2, rowHeight * static_cast<int>(rows.size()));
    for (std::size_t t = 0; t < rows.size(); ++t)
        rows[t]->setBounds(0, rowHeight * static_cast<int>(t), list.getWidth(), rowHeight);
}

} // namespace spillwright::desk
