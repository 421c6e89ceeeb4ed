#pragma once

#include "Session/Takes.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <functional>
#include <memory>
#include <vector>

namespace spillwright::desk {

/// The lines of a verdict, each wrapped to the width that there is. Those that are about a track or a pair are buttons,
/// by mouse and by Tab and Enter.
class TakeVerdict : public juce::Component {
public:
    TakeVerdict();
    ~TakeVerdict() override;

    std::function<void(const VerdictLine&)> onChoose;
    void show(std::vector<VerdictLine> lines);
    juce::String text() const; ///< A line each.
    int lineCount() const { return static_cast<int>(rows.size()); }
    juce::Button& line(int place); ///< Disabled where it is about nothing that can be chosen.
    void page(int direction);      ///< A page on (1) or back (-1).
    void resized() override;

private:
    class Row;
    juce::Viewport viewport;
    juce::Component list;
    std::vector<std::unique_ptr<Row>> rows;
};

} // namespace spillwright::desk
