#include "Desk/Autosave.h"
#include "Desk/Call.h"
#include "Desk/Commands.h"
#include "Desk/Fitting.h"
#include "Desk/MainComponent.h"
#include "Desk/PlotFiles.h"
#include "Desk/Trace.h"
#include "Media/SpectraCache.h"
#include "SpillwrightResources.h"

#include <CLI/CLI.hpp>
#include <juce_gui_basics/juce_gui_basics.h>

#include <cstdio>
#include <filesystem>
#include <memory>
#include <string>
#include <vector>

namespace spillwright::desk {

namespace {

/// Relative paths are taken from where the program was started, now: a file dialog may change the directory later.
juce::File absolute(const std::string& path) {
    return juce::File::getCurrentWorkingDirectory().getChildFile(juce::String::fromUTF8(path.c_str()));
}

/// The program's picture, as task bars show it.
juce::Image icon() {
    juce::Image image(juce::Image::ARGB, 128, 128, true);
    juce::Graphics g(image);
    const auto text = juce::String::fromUTF8(resources::spillwright_svg, resources::spillwright_svgSize);
    if (const auto xml = juce::parseXML(text))
        if (const auto drawing = juce::Drawable::createFromSVG(*xml))
            drawing->drawWithin(g, image.getBounds().toFloat(), juce::RectanglePlacement::centred, 1.0f);
    return image;
}

class Window : public juce::DocumentWindow {
public:
    Window(MainComponent* shown, Preferences& p)
        : juce::DocumentWindow("Spillwright", ui::palette().paper, juce::DocumentWindow::allButtons), content(shown),
          fitting(*shown, 1080, 640), preferences(p) {
        setUsingNativeTitleBar(true);
        setContentNonOwned(&fitting, true);
        setResizable(true, false);
        setResizeLimits(480, 300, 10000, 10000);
        const auto screen = juce::Desktop::getInstance().getDisplays().getPrimaryDisplay()->userArea;
        if (!restoreWindowStateFromString(preferences.windowState()) || !screen.intersects(getBounds()))
            setBounds(screen
                          .withSizeKeepingCentre(std::min(1280, screen.getWidth()),
                                                 std::min(800 + titleBarRoom, screen.getHeight()))
                          .withTrimmedBottom(titleBarRoom)); // which stands above
        else if (!isFullScreen() && (getWidth() > screen.getWidth() || getHeight() > screen.getHeight()))
            setBounds(screen.withTrimmedTop(titleBarRoom)); // it was on a larger one
        setVisible(true);
        if (auto* peer = getPeer()) peer->setIcon(icon());
        content->grabKeyboardFocus();
    }
    ~Window() override { preferences.setWindowState(getWindowStateAsString()); }
    void activeWindowStatusChanged() override {
        juce::DocumentWindow::activeWindowStatusChanged();
        if (isActiveWindow() && !content->hasKeyboardFocus(true)) content->grabKeyboardFocus();
    }
    /// The window manager gives the keyboard to the frame: it is meant for what is in it.
    void focusGained(FocusChangeType) override { content->grabKeyboardFocus(); }
    /// Keys that reach the frame are meant for what is in it.
    bool keyPressed(const juce::KeyPress& key) override {
        if (!content->hasKeyboardFocus(true)) content->grabKeyboardFocus();
        return content->keyPressed(key);
    }
    void closeButtonPressed() override { juce::JUCEApplication::getInstance()->systemRequestedQuit(); }

private:
    static constexpr int titleBarRoom = 30; ///< Window managers add it around our content.
    MainComponent* content;
    Fitting fitting;
    Preferences& preferences;
};

/// Brings the window to the state of the picture, step by step as the work in the background ends, then takes it.
class Photographer : private juce::Timer {
public:
    Photographer(MainComponent& m, Controller& c, std::vector<juce::File> f)
        : main(m), controller(c), files(std::move(f)) {
        startTimer(100);
    }

private:
    void timerCallback() override {
        if (!main.settled()) return;
        if (controller.measurement() && controller.heardVersion() != VersionKind::flips && !asked) {
            asked = true;
            controller.hear(VersionKind::flips); // makes the proposals first
            return;
        }
        stopTimer();
        int failed = 0;
        for (std::size_t i = 0; i < files.size(); ++i) {
            if (i > 0) main.setDark(!Look::isDark());
            failed += take(files[i]) ? 0 : 1;
        }
        juce::JUCEApplication::getInstance()->setApplicationReturnValue(failed > 0 ? 1 : 0);
        juce::JUCEApplication::quit();
    }

    bool take(const juce::File& file) {
        const auto scale = juce::Desktop::getInstance().getGlobalScaleFactor();
        const auto picture = main.createComponentSnapshot(main.getLocalBounds(), true, scale);
        const auto saved = savePicture(picture, std::filesystem::path(file.getFullPathName().toStdString()));
        if (!saved) std::fprintf(stderr, "spillwright: %s\n", saved.fault().line().c_str());
        return saved.ok();
    }

    MainComponent& main;
    Controller& controller;
    std::vector<juce::File> files;
    bool asked = false;
};

class Application : public juce::JUCEApplication {
public:
    const juce::String getApplicationName() override { return "Spillwright"; }
    const juce::String getApplicationVersion() override { return SPILLWRIGHT_VERSION; }
    bool moreThanOneInstanceAllowed() override { return true; }

    void initialise(const juce::String&) override {
        Call call;
        CLI::App words;
        addOptions(words, call);
        try {
            const auto given = getCommandLineParameterArray();
            std::vector<std::string> reversed; // as the parser takes them
            for (int i = given.size(); --i >= 0;)
                reversed.push_back(given[i].toStdString());
            words.parse(std::move(reversed));
        } catch (const CLI::Success& asked) { // help or version
            words.exit(asked);
            return quit();
        } catch (const CLI::ParseError& error) {
            return leave("spillwright: " + juce::String::fromUTF8(error.what()) + "; --help lists what there is");
        }
        if (juce::Desktop::getInstance().getDisplays().getPrimaryDisplay() == nullptr)
            return leave(
                "spillwright: there is no display to open a window on; spillwright-cli does the same work without one");

        const auto settings = call.settings.empty() ? Preferences::usualFolder() : absolute(call.settings);
        const std::filesystem::path cache =
            call.settings.empty()
                ? usualCacheFolder()
                : std::filesystem::path(settings.getChildFile("cache").getFullPathName().toStdString());
        preferences = std::make_unique<Preferences>(settings);
        if (call.scale) preferences->setScalePercent(*call.scale);
        if (call.dark) preferences->setDark(true);
        setOwnKeysFromText(preferences->ownKeys());
        juce::Desktop::getInstance().setGlobalScaleFactor(static_cast<float>(preferences->scalePercent()) / 100.0f);

        controller =
            std::make_unique<Controller>(0, cache, settings.getChildFile("sources").getFullPathName().toStdString());
        player = std::make_unique<Player>();
        player->setOutputLevel(preferences->startLevel());
        const bool forPictures = !call.screenshots.empty();
        if (!forPictures)
            autosave = std::make_unique<Autosave>(*controller,
                                                  settings.getChildFile("autosave").getFullPathName().toStdString());
        if (!forPictures) device = std::make_unique<OutputDevice>(player->callback());
        main = std::make_unique<MainComponent>(
            MainComponent::Parts{*controller, *player, device.get(), *preferences, autosave.get()});
        window = std::make_unique<Window>(main.get(), *preferences);
        if (!call.trace.empty())
            trace = std::make_unique<Trace>(*main, *controller, *player,
                                            absolute(call.trace).getFullPathName().toStdString());
        if (!call.opened.empty())
            main->open(absolute(call.opened));
        else if (call.demo)
            main->openDemo();
        if (forPictures) {
            std::vector<juce::File> files;
            for (const auto& file : call.screenshots)
                files.push_back(absolute(file));
            photographer = std::make_unique<Photographer>(*main, *controller, std::move(files));
        }
        // The window is seen before the device is looked for, which may take its time.
        juce::MessageManager::callAsync([this] {
            if (device) device->choose(preferences->deviceChoice());
        });
    }

    void shutdown() override {
        photographer.reset();
        trace.reset();
        window.reset();
        device.reset();
        main.reset();
        autosave.reset();
        controller.reset();
        player.reset();
        preferences.reset();
    }

private:
    void leave(const juce::String& why) {
        std::fprintf(stderr, "%s\n", why.toRawUTF8());
        setApplicationReturnValue(2);
        quit();
    }

    std::unique_ptr<Preferences> preferences;
    std::unique_ptr<Controller> controller;
    std::unique_ptr<Player> player;
    std::unique_ptr<OutputDevice> device;
    std::unique_ptr<Autosave> autosave;
    std::unique_ptr<MainComponent> main;
    std::unique_ptr<Window> window;
    std::unique_ptr<Photographer> photographer;
    std::unique_ptr<Trace> trace;
};

} // namespace

} // namespace spillwright::desk

START_JUCE_APPLICATION(spillwright::desk::Application)
