#include "Desk/FileDialogue.h"

namespace spillwright::desk {

namespace {

juce::FileBrowserComponent* browserIn(juce::Component& within) {
    for (auto* child : within.getChildren()) {
        if (auto* browser = dynamic_cast<juce::FileBrowserComponent*>(child)) return browser;
        if (auto* browser = browserIn(*child)) return browser;
    }
    return nullptr;
}

} // namespace

void confirmTypedPaths(juce::Component& within) {
    auto* browser = browserIn(within);
    if (!browser) return;
    for (auto* child : browser->getChildren())
        if (auto* name = dynamic_cast<juce::TextEditor*>(child)) {
            if (browser->isSaveMode()) name->grabKeyboardFocus(); // what is typed is the name
            name->onReturnKey = [name, browser, take = name->onReturnKey] {
                const bool path = name->getText().containsChar(juce::File::getSeparatorChar());
                take(); // of a path it goes to the folder and leaves the name
                if (path && name->getText().isNotEmpty() && browser->getRoot().isDirectory()) take();
            };
        }
}

} // namespace spillwright::desk
