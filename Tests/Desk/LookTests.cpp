#include "DeskFixture.h"
#include "DrawnText.h"
#include "TakeFixture.h"

#include "Desk/ManualSheet.h"
#include "Desk/PracticeSheet.h"
#include "Desk/TakeSheet.h"

#include "Support/SpillingBand.h"

#include <set>

using namespace spillwright;
using namespace spillwright::desk;
using namespace spillwright::test;

namespace {

/// The smallest window; home; large text on a wide screen (scale 150 and 250); a common screen, which is also one twice
/// as large at 200 percent; the same at 80.
constexpr std::pair<int, int> sizes[] = {{1080, 640}, {1280, 720},  {1280, 800},
                                         {1536, 864}, {1920, 1080}, {2400, 1350}};

const std::string longName = " in the far corner by the second window, figure of eight, behind the curtain";

/// 64 microphones, every third name of which nothing has room for; three sounds among them.
void writeLargeBand(const std::filesystem::path& folder) {
    const std::size_t length = 48000 * 8;
    const std::vector<float> sounds[] = {noise(length, 1), noise(length, 2), noise(length, 3)};
    for (int track = 0; track < 64; ++track) {
        const auto heard =
            mixed(delayed(sounds[track % 3], 7 * track, track % 5 ? 0.5f : -0.5f),
                  noise(length, static_cast<unsigned>(100 + track), 0.02f * static_cast<float>(track % 9)));
        writeWav(folder / (std::to_string(100 + track) + " microphone" + (track % 3 ? "" : longName) + ".wav"), heard);
    }
}

juce::Rectangle<int> placeIn(juce::Component& root, juce::Component& part) {
    return root.getLocalArea(&part, part.getLocalBounds());
}

bool takesText(const juce::Component& part) {
    return dynamic_cast<const juce::TextEditor*>(&part) != nullptr;
}

/// Everything that is wrong with how the component looks now, a line each.
class Faults {
public:
    explicit Faults(juce::Component& r) : root(r) {
        readText();
        walk(root);
    }
    std::string words() const {
        std::string all;
        for (const auto& each : found)
            all += "\n    " + each;
        return all;
    }
    bool any() const { return !found.empty(); }

private:
    void add(const juce::String& what) { found.insert(what.toStdString()); }

    static juce::String inWords(const juce::Component& part) {
        const auto* button = dynamic_cast<const juce::Button*>(&part);
        return "'" + (button ? button->getButtonText() : part.getTitle()) + "' at " + part.getBounds().toString();
    }

    void readText() {
        std::vector<DrawnLine> seen;
        for (auto& line : textOf(root))
            if (!line.seen.isEmpty()) seen.push_back(std::move(line));
        for (const auto& line : seen) {
            const auto named = "'" + line.text + "' at " + line.ink.toNearestInt().toString();
            if (line.squashed) add(named + " is squashed");
            if (endsEarly(line)) add(named + " ends in an ellipsis");
            if (!line.cut.isEmpty() && !scrolled(line)) add(named + " is cut");
        }
        for (std::size_t a = 0; a < seen.size(); ++a)
            for (std::size_t b = 0; b < a; ++b) {
                const auto both = seen[a].seen.getIntersection(seen[b].seen);
                if (both.getWidth() > 1.0f && both.getHeight() > 1.0f && !seen[a].slanted && !seen[b].slanted)
                    add("'" + seen[b].text + "' lies below '" + seen[a].text + "' at " +
                        both.toNearestInt().toString());
            }
        drawn = std::move(seen);
    }

    /// The user's own names may be of any length: their rows tell them whole. Some buttons open more, and say so; a
    /// page that is read out tells its own words.
    bool endsEarly(const DrawnLine& line) const {
        if (!line.text.endsWith("..")) return false;
        const auto name = ("microphone" + juce::String(longName)).removeCharacters(" ");
        const auto begin = line.text.trimCharactersAtEnd(".");
        if (begin.contains("mic") && name.startsWith(begin.fromFirstOccurrenceOf("mic", true, false))) return false;
        bool meant = false;
        const std::function<void(juce::Component&)> look = [&](juce::Component& part) {
            if (const auto* one = dynamic_cast<juce::Button*>(&part))
                meant = meant || one->getButtonText().removeCharacters(" ") == line.text;
            if (part.getDescription().removeCharacters(" \n").contains(line.text)) meant = true;
            for (auto* child : part.getChildren())
                look(*child);
        };
        look(root);
        return !meant;
    }

    /// A list shows the upper or the lower part of a line at its edges.
    bool scrolled(const DrawnLine& line) const {
        bool any = false;
        const std::function<void(juce::Component&)> look = [&](juce::Component& part) {
            if (dynamic_cast<juce::Viewport*>(&part) && part.isVisible()) {
                const auto view = placeIn(root, part).toFloat();
                any = any || (line.ink.intersects(view) &&
                              (line.ink.getBottom() > view.getBottom() - 1.0f || line.ink.getY() < view.getY() + 1.0f));
            }
            if (takesText(part) && placeIn(root, part).toFloat().expanded(4.0f).intersects(line.ink)) any = true;
            for (auto* child : part.getChildren())
                look(*child);
        };
        look(root);
        return any;
    }

    void walk(juce::Component& parent) {
        const auto& children = parent.getChildren();
        const auto* viewport = parent.findParentComponentOfClass<juce::Viewport>();
        for (auto* child : children) {
            if (!child->isVisible() || child->getBounds().isEmpty() || takesText(*child)) continue;
            if (!viewport && !dynamic_cast<juce::Viewport*>(&parent) &&
                !parent.getLocalBounds().contains(child->getBounds()))
                add(inWords(*child) + " is not within " + inWords(parent));
            if (dynamic_cast<juce::Button*>(child)) textBelow(*child);
            for (auto* other : children) {
                if (other == child) break;
                if (!other->isVisible() || !takesRoom(*other) || !takesRoom(*child)) continue;
                if (const auto both = other->getBounds().getIntersection(child->getBounds()); !both.isEmpty())
                    add(inWords(*child) + " lies over " + inWords(*other));
            }
            walk(*child);
        }
    }

    /// By something that nothing shows through.
    static bool covered(const juce::Component& part) {
        const auto& siblings = part.getParentComponent()->getChildren();
        for (int k = siblings.indexOf(const_cast<juce::Component*>(&part)) + 1; k < siblings.size(); ++k)
            if (siblings[k]->isVisible() && siblings[k]->isOpaque() &&
                siblings[k]->getBounds().contains(part.getBounds()))
                return true;
        return false;
    }

    /// Not what only draws for its parent.
    static bool takesRoom(const juce::Component& part) {
        bool itself = false, children = false;
        part.getInterceptsMouseClicks(itself, children);
        return itself || children;
    }

    /// A button hides what its parent has drawn there.
    void textBelow(juce::Component& button) {
        const auto place = placeIn(root, button).toFloat();
        for (const auto& line : drawn) {
            const auto both = line.seen.getIntersection(place);
            if (both.getWidth() > 1.0f && both.getHeight() > 1.0f && !place.expanded(1.0f).contains(line.seen))
                add("'" + line.text + "' lies below the button " + inWords(button));
        }
    }

    juce::Component& root;
    std::vector<DrawnLine> drawn;
    std::set<std::string> found;
};

/// At every size.
void checkLooks(MainComponent& main, const std::string& state) {
    for (const auto& [width, height] : sizes) {
        main.setSize(width, height);
        // What is told at length is laid over the panels on purpose.
        if (auto& notice = main.noticeBar(); notice.getY() > 0) notice.setVisible(false);
        juce::Component& shown = main.sheet() ? static_cast<juce::Component&>(*main.sheet()) : main;
        const Faults faults(shown);
        INFO(state << " at " << width << " x " << height << ":" << faults.words());
        CHECK_FALSE(faults.any());
    }
}

/// The open take beside the one in the folder, once it is compared with it or refused.
void checkTakes(BandWindow& window, const std::filesystem::path& folder) {
    window.main.compareWith(juce::File(folder.string()));
    auto& sheet = dynamic_cast<TakeSheet&>(*window.main.sheet());
    checkLooks(window.main, "another take that is being opened");
    REQUIRE(waitFor(window.controller(), [&] {
        sheet.follow();
        return sheet.otherTake().settled();
    }));
    checkLooks(window.main, "another take");
    if (sheet.otherTake().fault().empty()) {
        sheet.otherTake().hear(true);
        REQUIRE(waitFor(window.controller(), [&] {
            sheet.follow();
            return sheet.otherTake().secondHeard();
        }));
        checkLooks(window.main, "another take that is heard");
    }
    sheet.onClose();
}

void checkSheet(BandWindow& window, CommandId id) {
    window.main.perform(id);
    INFO("sheet of command: " << command(id).words);
    REQUIRE(window.main.sheet());
    checkLooks(window.main, command(id).words);
    window.main.sheet()->onClose();
}

} // namespace

TEST_CASE("text that is cut, squashed, shortened or covered is noticed") {
    JuceWithoutDisplay juce;
    Look look;
    struct Page : juce::Component {
        std::function<void(juce::Graphics&)> draws;
        juce::TextButton button{"Go"};
        void paint(juce::Graphics& g) override {
            g.setFont(ui::font(14.0f));
            draws(g);
        }
    } page;
    page.setSize(200, 100);
    const auto faultsOf = [&](std::function<void(juce::Graphics&)> draws) {
        page.draws = std::move(draws);
        return Faults(page).words();
    };
    const auto at = [](float x, float y, float width) { return juce::Rectangle<float>(x, y, width, 20.0f); };
    CHECK(faultsOf([&](auto& g) { ui::draw(g, "all is well", at(0, 0, 200), juce::Justification::left, 14.0f, {}); }) ==
          "");
    CHECK_THAT(
        faultsOf([&](auto& g) { ui::draw(g, "no room for it", at(0, 0, 50), juce::Justification::left, 14.0f, {}); }),
        Catch::Contains("ellipsis"));
    CHECK_THAT(faultsOf([&](auto& g) { ui::draw(g, "low", at(0, 86, 90), juce::Justification::left, 14.0f, {}); }),
               Catch::Contains("is cut"));
    CHECK_THAT(faultsOf([&](auto& g) {
                   g.drawFittedText("a narrow place", {0, 0, 80, 20}, juce::Justification::left, 1, 0.5f);
               }),
               Catch::Contains("squashed"));
    CHECK_THAT(faultsOf([&](auto& g) {
                   ui::draw(g, "one", at(10, 0, 90), juce::Justification::left, 14.0f, {});
                   ui::draw(g, "two", at(14, 3, 90), juce::Justification::left, 14.0f, {});
               }),
               Catch::Contains("'one' lies below 'two'"));
    page.addAndMakeVisible(page.button);
    page.button.setBounds(40, 0, 60, 20);
    CHECK_THAT(
        faultsOf([&](auto& g) { ui::draw(g, "a long heading", at(0, 0, 190), juce::Justification::left, 14.0f, {}); }),
        Catch::Contains("below the button"));
    page.button.setBounds(160, 0, 60, 20);
    CHECK_THAT(faultsOf([](auto&) {}), Catch::Contains("not within"));
}

TEST_CASE("the empty window has room for its text, at every size") {
    JuceWithoutDisplay juce;
    TemporaryFolder settings;
    Controller controller(2);
    Player player;
    Preferences preferences{juce::File(settings.path().string())};
    for (int k = 0; k < 8; ++k)
        preferences.addRecent("/home/somebody/recordings/evening " + juce::String(k));
    MainComponent main{{controller, player, nullptr, preferences}};
    checkLooks(main, "empty");
    controller.say("The folder has no tracks: choose one that holds WAV or FLAC files.", true);
    checkLooks(main, "empty, with a fault");
}

TEST_CASE("a small band's window has room for its text in every state, at every size", "[long]") {
    BandWindow window(spillingBand::write);
    auto& controller = window.controller();
    REQUIRE(waitFor(controller, [&] { return controller.withSources() && !controller.hearingSources(); }));
    checkLooks(window.main, "opened");
    controller.dismissNotice();
    for (int second = 1; second < controller.trackCount(); ++second)
        for (int first = 0; first < second; ++first) {
            controller.selectPair(second, first);
            window.main.setSize(1280, 800);
            const Faults faults(window.main.pairPanel());
            INFO("pair " << first << ", " << second << faults.words());
            CHECK_FALSE(faults.any());
        }
    controller.selectPair(1, 0);
    checkLooks(window.main, "pair chosen");
    controller.flip(1);
    controller.setNudge(1, milliseconds(-12.34));
    controller.setGain(1, Decibels(-12.5));
    controller.setHighPass(1, Hertz(12345.0), Slope::dB24);
    checkLooks(window.main, "everything set");
    controller.propose();
    REQUIRE(waitUntilIdle(controller));
    controller.hear(VersionKind::nudgesTo10ms);
    controller.keep(VersionKind::keptFirst);
    controller.renameKept(VersionKind::keptFirst, "warm mix, snare down");
    checkLooks(window.main, "proposals");
    window.typed('e');
    controller.chooseSource(1);
    checkLooks(window.main, "map of sources");
    for (auto id : {CommandId::terms, CommandId::standing, CommandId::findings, CommandId::remarks, CommandId::render,
                    CommandId::keys, CommandId::settings, CommandId::history, CommandId::audioDevice,
                    CommandId::blindTest, CommandId::practice, CommandId::glossary})
        checkSheet(window, id);
    TemporaryFolder other;
    secondTake::write(other.path());
    checkTakes(window, other.path());
    checkTakes(window, window.band.folder.path()); // refused
}

TEST_CASE("every chapter of the manual has room for its text, at every size", "[long]") {
    EmptyWindow empty;
    auto& main = empty.main;
    main.perform(CommandId::manual);
    auto* sheet = dynamic_cast<ManualSheet*>(main.sheet());
    REQUIRE(sheet);
    for (int chapter = 0; chapter < static_cast<int>(sheet->chapters().size()); ++chapter) {
        sheet->showChapter(chapter);
        checkLooks(main, sheet->chapters()[static_cast<std::size_t>(chapter)].title);
        // All of it, on a page as high as it needs.
        for (const auto& size : sizes) {
            main.setSize(size.first, size.second);
            const Faults faults(*sheet->text().getViewedComponent());
            INFO("chapter " << chapter << " at the width of " << size.first << faults.words());
            CHECK_FALSE(faults.any());
        }
    }
}

TEST_CASE("every lesson has room for its text, as usual and for a projector, at every size", "[long]") {
    EmptyWindow empty;
    auto& main = empty.main;
    main.perform(CommandId::practice);
    auto* sheet = dynamic_cast<PracticeSheet*>(main.sheet());
    REQUIRE(sheet);
    for (int entry = 0; entry < sheet->lessonChoice().getNumItems(); ++entry) {
        sheet->lessonChoice().setSelectedItemIndex(entry, juce::sendNotificationSync);
        const auto title = sheet->shownLesson().title;
        for (int step = 0; step < static_cast<int>(sheet->shownLesson().steps.size()); step += 3) {
            sheet->chooseStep(step);
            for (const bool projected : {false, true}) {
                sheet->setProjected(projected);
                checkLooks(main, title + ", step " + std::to_string(step + 1) + (projected ? ", projected" : ""));
            }
        }
        sheet->setProjected(true);
        sheet->answerButton().onClick();
        checkLooks(main, title + ", the answer");
    }
}

TEST_CASE("64 tracks with long names have room in every state, at every size", "[long]") {
    BandWindow window(writeLargeBand);
    auto& controller = window.controller();
    REQUIRE(waitFor(controller, [&] { return !controller.hearingSources(); }));
    checkLooks(window.main, "opened");
    controller.dismissNotice();
    controller.selectPair(3, 0); // long names both
    checkLooks(window.main, "pair chosen");
    controller.setHighPass(3, Hertz(12345.0), Slope::dB24);
    controller.propose();
    REQUIRE(waitUntilIdle(controller));
    controller.hear(VersionKind::nudgesTo10ms);
    checkLooks(window.main, "proposals");
    window.typed('e');
    checkLooks(window.main, "map of sources");
    for (auto id :
         {CommandId::terms, CommandId::standing, CommandId::findings, CommandId::history, CommandId::blindTest})
        checkSheet(window, id);
    TemporaryFolder other;
    writeLargeBand(other.path());
    checkTakes(window, other.path());
}
