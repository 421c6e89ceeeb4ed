#pragma once

#include "Session/TrackInfo.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <functional>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace spillwright::desk {

/// Which track of the second take is which of the first, by hand: a row a track, to be chosen from. A track of the
/// second is one of the first at most: chosen twice, it leaves the row that had it.
class TakeMatch : public juce::Component {
public:
    /// `now`: [track of the first] its track in the second; -1: none.
    TakeMatch(std::span<const TrackInfo> first, std::span<const TrackInfo> second, std::span<const int> now);
    ~TakeMatch() override;

    /// For every track of the first its name and the name in the second, empty where it is none of them
    /// (CompareOptions::match); none: it stays as it was.
    std::function<void(std::optional<std::vector<std::pair<std::string, std::string>>>)> onDone;

    juce::ComboBox& choice(int trackOfFirst);
    juce::Button& goButton() { return go; }
    juce::Button& leaveButton() { return leave; }
    void resized() override;
    void paint(juce::Graphics& g) override;

private:
    struct Row;
    void taken(std::size_t row);
    std::vector<std::pair<std::string, std::string>> matched() const;

    static constexpr int rowHeight = 28, headHeight = 44, footHeight = 36;
    const std::vector<TrackInfo> ofFirst, ofSecond;
    juce::Viewport viewport;
    juce::Component list;
    std::vector<std::unique_ptr<Row>> rows;
    juce::TextButton go{"Compare again"}, leave{"Leave as it was"};
};

} // namespace spillwright::desk
