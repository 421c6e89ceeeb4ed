#include "Desk/PlotSaver.h"

#include "Desk/Commands.h"
#include "Desk/Look.h"
#include "Desk/PairPanel.h"

#include <algorithm>
#include <utility>

namespace spillwright::desk {

namespace {

juce::File usualFolder() {
    const auto documents = juce::File::getSpecialLocation(juce::File::userDocumentsDirectory);
    return documents.isDirectory() ? documents : juce::File::getSpecialLocation(juce::File::userHomeDirectory);
}

} // namespace

PlotSaver::PlotSaver(std::vector<PlotView*> of, std::function<std::string()> what,
                     std::function<void(const std::string&, bool)> to)
    : views(std::move(of)), names(std::move(what)), say(std::move(to)) {
    for (auto* view : views)
        view->onSave = [this, view] { offer(*view); };
}

void PlotSaver::offer(PlotView& view) {
    juce::PopupMenu menu;
    menu.addItem("Picture (PNG)", [this, &view] { askWhereToSave(view, PlotFormat::png); });
    menu.addItem("Drawing (SVG)", [this, &view] { askWhereToSave(view, PlotFormat::svg); });
    menu.addItem("All plots as both (" + ui::text(keyOf(CommandId::savePlots)) + ")", [this] { askWhereToSaveAll(); });
    menu.showMenuAsync(juce::PopupMenu::Options().withTargetComponent(view.saveButton()).withDeletionCheck(view));
}

void PlotSaver::tell(const Outcome& outcome, const std::string& saved) const {
    if (outcome)
        say("Saved: " + saved, false);
    else
        say(outcome.fault().line(), true);
}

void PlotSaver::askWhereToSave(PlotView& view, PlotFormat format) {
    const juce::String ending = endingOf(format);
    chooser = std::make_unique<juce::FileChooser>(
        "Save the plot", usualFolder().getChildFile(plotFileName(view.plot()) + ending), "*" + ending);
    chooser->launchAsync(juce::FileBrowserComponent::saveMode | juce::FileBrowserComponent::canSelectFiles |
                             juce::FileBrowserComponent::warnAboutOverwriting,
                         // The plot as it was when asked: it may show something else by then.
                         [this, plot = view.plot(), format, ending](const juce::FileChooser& done) {
                             if (done.getResult() == juce::File()) return;
                             const auto file = done.getResult().withFileExtension(ending);
                             tell(savePlot(plot, format, file.getFullPathName().toStdString()),
                                  file.getFullPathName().toStdString());
                         });
}

void PlotSaver::askWhereToSaveAll() {
    if (std::all_of(views.begin(), views.end(), [](const auto* view) { return view->plot().lines.empty(); })) return;
    chooser = std::make_unique<juce::FileChooser>("Save all plots in a folder", usualFolder());
    chooser->launchAsync(juce::FileBrowserComponent::openMode | juce::FileBrowserComponent::canSelectDirectories,
                         [this](const juce::FileChooser& done) {
                             if (done.getResult() != juce::File())
                                 saveAll(done.getResult().getFullPathName().toStdString());
                         });
}

void PlotSaver::saveAll(const std::filesystem::path& folder) {
    Outcome outcome = spillwright::done();
    int saved = 0;
    for (const PlotView* view : views) {
        for (auto format : {PlotFormat::png, PlotFormat::svg}) {
            if (view->plot().lines.empty() || !outcome) continue;
            const auto file = juce::File(ui::text(folder.string()))
                                  .getNonexistentChildFile(plotFileName(view->plot()), endingOf(format));
            outcome = savePlot(view->plot(), format, file.getFullPathName().toStdString());
            if (outcome) ++saved;
        }
    }
    tell(outcome, std::to_string(saved) + " files of " + names() + " in " + folder.string());
}

} // namespace spillwright::desk
