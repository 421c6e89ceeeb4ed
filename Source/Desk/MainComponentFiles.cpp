// The window's part that has to do with choosing, opening and saving.

#include "Desk/MainComponent.h"

#include "Desk/FileDialogue.h"
#include "Desk/TakeSheet.h"

namespace spillwright::desk {

namespace {

std::filesystem::path pathOf(const juce::File& file) {
    return std::filesystem::path(file.getFullPathName().toStdString());
}

juce::File fileOf(const std::filesystem::path& path) {
    return juce::File(ui::text(path.string()));
}

const juce::String sessions = juce::String("*") + sessionEnding;

#if JUCE_MAC
constexpr bool systemChoosesBoth = true;
#else
constexpr bool systemChoosesBoth = false; // the system's dialogue takes either folders or files
#endif

} // namespace

void MainComponent::open(const juce::File& folderOrSession) {
    if (!folderOrSession.hasFileExtension(sessionEnding) || folderOrSession.isDirectory())
        return openFolder(folderOrSession);
    KnownPlaces known;
    for (const auto& path : preferences.recent())
        known.before.emplace_back(path.toStdString());
    controller.openSession(pathOf(folderOrSession), std::nullopt, known);
}

void MainComponent::openFolder(const juce::File& folder) {
    controller.openFolder(pathOf(folder));
}

void MainComponent::chooseWhatToOpen() {
    const auto last = preferences.recent();
    const auto where = last.isEmpty() ? juce::File::getSpecialLocation(juce::File::userHomeDirectory)
                                      : juce::File(last[0]).getParentDirectory();
    chooser = std::make_unique<juce::FileChooser>("Open a folder of tracks, or a session", where, sessions,
                                                  systemChoosesBoth, false, this);
    chooser->launchAsync(juce::FileBrowserComponent::openMode | juce::FileBrowserComponent::canSelectDirectories |
                             juce::FileBrowserComponent::canSelectFiles,
                         [this](const juce::FileChooser& done) {
                             if (const auto chosen = done.getResult(); chosen != juce::File()) open(chosen);
                             if (isShowing()) grabKeyboardFocus();
                         });
    confirmTypedPaths(*this);
}

/// Once for each session that is opened: it remembers.
void MainComponent::chooseRecording() {
    const auto session = controller.recordingWantedFor();
    const auto& said = controller.recordingSaidIn();
    chooser = std::make_unique<juce::FileChooser>("Where is the recording of " + fileOf(session).getFileName() + "?",
                                                  said.empty() ? fileOf(session).getParentDirectory() : fileOf(said),
                                                  "", true, false, this);
    chooser->launchAsync(juce::FileBrowserComponent::openMode | juce::FileBrowserComponent::canSelectDirectories,
                         [this, session](const juce::FileChooser& done) {
                             if (const auto chosen = done.getResult(); chosen != juce::File())
                                 controller.openSession(session, pathOf(chosen));
                             if (isShowing()) grabKeyboardFocus();
                         });
}

juce::File MainComponent::whereTakesAre() const {
    if (lastTake == juce::File()) return fileOf(controller.recording()->folder()).getParentDirectory();
    const bool compared = dynamic_cast<const TakeSheet*>(openSheet.get()) != nullptr;
    return compared || !lastTake.isDirectory() ? lastTake.getParentDirectory() : lastTake;
}

void MainComponent::chooseOtherTake() {
    chooser = std::make_unique<juce::FileChooser>("The folder of another take", whereTakesAre(), "", true, false, this);
    chooser->launchAsync(juce::FileBrowserComponent::openMode | juce::FileBrowserComponent::canSelectDirectories,
                         [this](const juce::FileChooser& done) {
                             if (const auto chosen = done.getResult(); chosen != juce::File()) compareWith(chosen);
                             if (!openSheet && isShowing()) grabKeyboardFocus();
                         });
}

void MainComponent::compareWith(const juce::File& folder) {
    if (!controller.measurement()) return;
    closeSheet();
    stopHearing(); // its loop is not the one that is meant
    lastTake = folder;
    auto sheet = std::make_unique<TakeSheet>(controller, player, pathOf(folder));
    sheet->onCommand = [this](CommandId id) { perform(id); };
    sheet->onOtherFolder = [this] { chooseOtherTake(); };
    show(std::move(sheet));
}

void MainComponent::save() {
    if (controller.sessionPath().empty()) return saveAs();
    controller.saveSession(controller.sessionPath());
}

void MainComponent::saveAs() {
    if (!controller.recording()) return;
    const auto usual = fileOf(controller.sessionPath().empty()
                                  ? controller.besideRecording() / (controller.sessionName() + sessionEnding)
                                  : controller.sessionPath());
    chooser = std::make_unique<juce::FileChooser>("Save the session", usual, sessions, true, false, this);
    chooser->launchAsync(juce::FileBrowserComponent::saveMode | juce::FileBrowserComponent::canSelectFiles |
                             juce::FileBrowserComponent::warnAboutOverwriting,
                         [this](const juce::FileChooser& done) {
                             if (const auto chosen = done.getResult(); chosen != juce::File())
                                 controller.saveSession(pathOf(chosen));
                             if (isShowing()) grabKeyboardFocus();
                         });
    confirmTypedPaths(*this);
}

void MainComponent::saveReport() {
    if (!controller.recording())
        return controller.say("Open a recording first (" + keyOf(CommandId::open) + "); then " +
                              keyOf(CommandId::report) + " writes its report.");
    if (!controller.measurement() || controller.busy())
        return controller.say("The report can be written when the work that goes on is done.");
    const auto usual = fileOf(controller.besideRecording() / (controller.sessionName() + " report.html"));
    chooser = std::make_unique<juce::FileChooser>("Save the report", usual, "*.html", true, false, this);
    chooser->launchAsync(juce::FileBrowserComponent::saveMode | juce::FileBrowserComponent::canSelectFiles |
                             juce::FileBrowserComponent::warnAboutOverwriting,
                         [this](const juce::FileChooser& done) {
                             if (isShowing()) grabKeyboardFocus();
                             const auto chosen = done.getResult();
                             if (chosen == juce::File()) return;
                             const auto page = chosen.withFileExtension("html");
                             const bool asked = chosen == page && page.exists(); // whether it may go
                             controller.saveReport(pathOf(page), asked);
                         });
    confirmTypedPaths(*this);
}

void MainComponent::followSession() {
    if (!controller.recordingWantedFor().empty()) {
        if (isShowing()) chooseRecording();
        return;
    }
    if (!controller.recording()) return;
    const auto& file = controller.sessionPath();
    preferences.addRecent(ui::text((file.empty() ? controller.recording()->folder() : file).string()));
    showTitle();
}

} // namespace spillwright::desk
