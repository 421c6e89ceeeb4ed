#pragma once

#include "Desk/PlotFiles.h"

#include <juce_gui_basics/juce_gui_basics.h>

#include <filesystem>
#include <functional>
#include <memory>
#include <string>
#include <vector>

namespace spillwright::desk {

class PlotView;

/// Saves the plots of one panel as files, where the user says. Tied to their buttons when it is made.
class PlotSaver {
public:
    /// `names`: what the plots are of. `tell`: what was done, or (true) what went wrong.
    PlotSaver(std::vector<PlotView*> views, std::function<std::string()> names,
              std::function<void(const std::string&, bool)> tell);

    void askWhereToSaveAll(); ///< Asks for a folder, then saveAll().
    /// All plots that show anything as pictures and as SVG, none in the place of a file that is there; says what was
    /// done.
    void saveAll(const std::filesystem::path& folder);

private:
    void offer(PlotView& view);
    void askWhereToSave(PlotView& view, PlotFormat format);
    void tell(const Outcome& outcome, const std::string& saved) const;

    std::vector<PlotView*> views;
    std::function<std::string()> names;
    std::function<void(const std::string&, bool)> say;
    std::unique_ptr<juce::FileChooser> chooser;
};

} // namespace spillwright::desk
