#include "Desk/Sheets.h"

#include "Desk/Commands.h"
#include "Desk/Look.h"
#include "Desk/Words.h"

#include <algorithm>

namespace spillwright::desk {

namespace {

std::filesystem::path pathOf(const juce::String& text) {
    return std::filesystem::path(text.trim().toStdString());
}

} // namespace

Sheet::Sheet(const juce::String& title) {
    setTitle(title);
    setWantsKeyboardFocus(true);
    setFocusContainerType(FocusContainerType::keyboardFocusContainer);
}

juce::Rectangle<int> Sheet::page(int width, int height) const {
    return getLocalBounds().withSizeKeepingCentre(std::min(width, getWidth() - 24), std::min(height, getHeight() - 24));
}

void Sheet::paint(juce::Graphics& g) {
    const auto& p = ui::palette();
    g.fillAll(p.paper.withAlpha(0.8f));
    const auto area = pageArea().toFloat();
    g.setColour(p.raised);
    g.fillRoundedRectangle(area, 7.0f);
    g.setColour(p.muted);
    g.drawRoundedRectangle(area, 7.0f, 1.0f);
}

void Sheet::mouseDown(const juce::MouseEvent& event) {
    if (!pageArea().contains(event.getPosition()) && onClose) onClose();
}

bool Sheet::keyPressed(const juce::KeyPress& key) {
    if (key.isKeyCode(juce::KeyPress::tabKey)) return ui::tabInto(*this, key); // else to the next part
    if (const auto wanted = commandFor(key);
        wanted == CommandId::leave || wanted == CommandId::keys || wanted == CommandId::remarks ||
        wanted == CommandId::findings || wanted == CommandId::standing || wanted == CommandId::terms ||
        wanted == CommandId::audioDevice || wanted == CommandId::settings || wanted == CommandId::blindTest ||
        wanted == CommandId::history || wanted == CommandId::compareTakes || wanted == CommandId::glossary ||
        wanted == CommandId::manual) {
        if (onClose) onClose();
    }
    return true; // what lies below does not listen meanwhile
}

void Sheet::readOver(juce::Component& part, const juce::String& title, const LinesSheet::Words& words) {
    over = std::make_unique<LinesSheet>(title, words);
    over->onClose = [this] {
        over->setVisible(false);
        // It may be the one that called: it goes when its call is over.
        juce::MessageManager::callAsync([kept = std::shared_ptr<Sheet>(over.release())] { juce::ignoreUnused(kept); });
        if (isShowing()) grabKeyboardFocus();
    };
    part.addAndMakeVisible(*over);
    over->setBounds(part.getLocalBounds());
    if (over->isShowing()) over->grabKeyboardFocus();
}

// ---- lines

LinesSheet::Words remarkLines(const Remarks& remarks) {
    LinesSheet::Words lines;
    const auto add = [&](const char* heading, const std::vector<std::string>& some) {
        if (some.empty()) return;
        lines.emplace_back(heading, true);
        for (const auto& line : some)
            lines.emplace_back(line, false);
    };
    add("of the recording", remarks.recording);
    add("of the loop that is read", remarks.loop);
    add("of the source that is read alone", remarks.focus);
    if (lines.empty()) lines.emplace_back("Nothing to remark.", false);
    return lines;
}

LinesSheet::LinesSheet(const juce::String& title, const Words& words) : Sheet(title) {
    for (const auto& [line, heading] : words)
        lines.words.emplace_back(ui::text(line), heading);
    juce::StringArray all;
    for (const auto& each : lines.words)
        all.add(each.first);
    setDescription(all.joinIntoString("\n")); // for those who do not see it
    viewport.setViewedComponent(&lines, false);
    viewport.setScrollBarsShown(true, false);
    viewport.setScrollBarThickness(12);
    viewport.setWantsKeyboardFocus(false);
    addAndMakeVisible(viewport);
    addChildComponent(lead);
}

void LinesSheet::leadOn(const juce::String& words, std::function<void()> onClick) {
    lead.setButtonText(words);
    lead.onClick = std::move(onClick);
    lead.setVisible(true);
}

juce::Rectangle<int> LinesSheet::pageArea() const {
    return page(sheetWidth, lines.getHeight() + titleHeight + 2 * border);
}

void LinesSheet::paint(juce::Graphics& g) {
    Sheet::paint(g);
    const auto& p = ui::palette();
    auto title = pageArea().reduced(28, border).removeFromTop(titleHeight - 6).toFloat();
    ui::draw(g, getTitle().toStdString(), title, juce::Justification::centredLeft, 18.0f, p.ink, true);
    ui::draw(g, "Up, Down: scroll   Esc: close", title, juce::Justification::centredRight, 12.0f, p.muted);
}

void LinesSheet::resized() {
    lines.layOut(page(sheetWidth, 0).getWidth() - 2 * 28 - viewport.getScrollBarThickness() - 6); // gives the height
    auto area = pageArea().reduced(28, border);
    lead.setBounds(area.removeFromTop(titleHeight).withHeight(titleHeight - 8).withSizeKeepingCentre(150, 28));
    viewport.setBounds(area);
}

bool LinesSheet::keyPressed(const juce::KeyPress& key) {
    return scrolledByKey(viewport, key) || Sheet::keyPressed(key);
}

bool scrolledByKey(juce::Viewport& viewport, const juce::KeyPress& key) {
    using K = juce::KeyPress;
    constexpr int line = 24;
    const int height = viewport.getViewHeight();
    const auto to = [&](int y) { viewport.setViewPosition(0, y); };
    const int y = viewport.getViewPositionY();
    if (key.isKeyCode(K::downKey))
        to(y + line);
    else if (key.isKeyCode(K::upKey))
        to(y - line);
    else if (key.isKeyCode(K::pageDownKey) || key.isKeyCode(K::spaceKey))
        to(y + height - line);
    else if (key.isKeyCode(K::pageUpKey))
        to(y - height + line);
    else if (key.isKeyCode(K::homeKey))
        to(0);
    else if (key.isKeyCode(K::endKey))
        to(viewport.getViewedComponent()->getHeight());
    else
        return false;
    return true;
}

void LinesSheet::Lines::layOut(int width) {
    layouts.clear();
    float height = 0.0f;
    for (const auto& [text, heading] : words) {
        juce::AttributedString content;
        content.append(text, ui::font(heading ? 12.0f : 13.5f, heading),
                       heading ? ui::palette().accent : ui::palette().ink);
        layouts.emplace_back();
        layouts.back().createLayout(content, static_cast<float>(width) - gutter);
        height += layouts.back().getHeight() + gap;
    }
    setSize(width, juce::roundToInt(height));
}

void LinesSheet::Lines::paint(juce::Graphics& g) {
    float y = 0.0f;
    for (std::size_t k = 0; k < layouts.size(); ++k) {
        const float height = layouts[k].getHeight();
        const bool heading = words[k].second;
        if (!heading) {
            g.setColour(ui::palette().muted);
            g.fillRect(2.0f, y + 8.0f, 6.0f, 1.5f);
        }
        layouts[k].draw(g, {heading ? 0.0f : gutter, y, static_cast<float>(getWidth()) - gutter, height + 1.0f});
        y += height + gap;
    }
}

// ---- standing

/// One track: its name, where it stands, and the name of the source that it is the first close track of.
struct StandingSheet::Row : juce::Component {
    static constexpr int trackPercent = 32; ///< Of the width; the other two have half of the rest each.
    juce::Label track;
    juce::ComboBox where;
    juce::TextEditor name;
    Row() {
        for (juce::Component* part : std::initializer_list<juce::Component*>{&track, &where, &name})
            addAndMakeVisible(part);
        track.setFont(ui::font(13.5f));
        track.setMinimumHorizontalScale(1.0f);
        name.setFont(ui::font(13.5f));
        name.setSelectAllWhenFocused(true);
    }
    void resized() override {
        auto area = getLocalBounds().reduced(0, 3);
        track.setBounds(area.removeFromLeft(area.getWidth() * trackPercent / 100));
        where.setBounds(area.removeFromLeft(area.getWidth() / 2).reduced(4, 0));
        name.setBounds(area.reduced(4, 0));
    }
};

namespace {

constexpr int idFar = 1, idAlone = 2, idFirstSource = 3;

} // namespace

StandingSheet::StandingSheet(Controller& c) : Sheet("What stands close to what"), controller(c) {
    for (int t = 0; t < controller.trackCount(); ++t) {
        auto row = std::make_unique<Row>();
        row->where.onChange = [this, t] { take(t, choice(t).getSelectedId()); };
        row->where.setTitle(ui::text("Where " + controller.tracks()[static_cast<std::size_t>(t)].name + " stands"));
        row->name.onReturnKey = row->name.onFocusLost = [this, t] {
            const auto source =
                controller.withSources() ? sourceOf(controller.withSources()->sources->map.plan, t) : std::nullopt;
            if (source) controller.renameSource(*source, nameField(t).getText().trim().toStdString());
        };
        row->name.onEscapeKey = [this] { fill(); };
        list.addAndMakeVisible(*row);
        rows.push_back(std::move(row));
    }
    viewport.setViewedComponent(&list, false);
    viewport.setScrollBarsShown(true, false);
    viewport.setWantsKeyboardFocus(false);
    guess.onClick = [this] { controller.guessSources(); };
    leave.onClick = [this] {
        if (onClose) onClose();
    };
    leave.setToggleState(true, juce::dontSendNotification);
    for (juce::Component* part : std::initializer_list<juce::Component*>{&viewport, &guess, &leave})
        addAndMakeVisible(part);
    fill();
}

StandingSheet::~StandingSheet() = default;

juce::Component& StandingSheet::firstPart() {
    return rows.empty() ? static_cast<juce::Component&>(leave) : rows.front()->where;
}

juce::ComboBox& StandingSheet::choice(int track) {
    return rows[static_cast<std::size_t>(track)]->where;
}

juce::TextEditor& StandingSheet::nameField(int track) {
    return rows[static_cast<std::size_t>(track)]->name;
}

void StandingSheet::changed(unsigned what) {
    if (what & Controller::sourcesChanged) fill();
}

void StandingSheet::fill() {
    const auto* m = controller.withSources();
    for (int t = 0; t < controller.trackCount(); ++t) {
        auto& row = *rows[static_cast<std::size_t>(t)];
        const auto& info = controller.tracks()[static_cast<std::size_t>(t)];
        const bool unsure = controller.spillShareUnsure(t);
        row.track.setText(ui::text(info.name + (unsure ? "   unsure" : "")), juce::dontSendNotification);
        row.track.setColour(juce::Label::textColourId, unsure ? ui::palette().cancels : ui::palette().ink);
        const auto own = m ? sourceOf(m->sources->map.plan, t) : std::nullopt;
        const bool usable = m && info.state == TrackState::ok;
        row.where.clear(juce::dontSendNotification);
        row.where.addItem("close to none: room, overhead", idFar);
        const bool alone = own && m->sources->map.plan.sources[static_cast<std::size_t>(*own)].closeTracks.size() == 1;
        if (!alone) row.where.addItem("close to a source of its own", idAlone);
        for (int s = 0; s < controller.sourceCount(); ++s)
            row.where.addItem(ui::text("close to " + controller.sourceName(s)), idFirstSource + s);
        row.where.setSelectedId(own ? idFirstSource + *own : idFar, juce::dontSendNotification);
        row.where.setEnabled(usable);
        const bool first = own && m->sources->map.plan.sources[static_cast<std::size_t>(*own)].closeTracks.front() == t;
        row.name.setVisible(first);
        if (first) row.name.setText(ui::text(controller.sourceName(*own)), false);
        row.name.setTitle(ui::text("Name of the source close to " + info.name));
    }
    guess.setEnabled(m && !m->sources->guessed);
    repaint();
}

void StandingSheet::take(int track, int chosenId) {
    if (chosenId == idFar)
        controller.standFar(track);
    else if (chosenId == idAlone)
        controller.standAlone(track);
    else if (chosenId >= idFirstSource)
        controller.standCloseTo(track, chosenId - idFirstSource);
}

juce::Rectangle<int> StandingSheet::pageArea() const {
    return page(860, headHeight + footHeight + 24 + rowHeight * static_cast<int>(rows.size()));
}

void StandingSheet::paint(juce::Graphics& g) {
    Sheet::paint(g);
    const auto& p = ui::palette();
    auto area = pageArea().reduced(28, 16).toFloat();
    ui::draw(g, getTitle().toStdString(), area.removeFromTop(30.0f), juce::Justification::centredLeft, 18.0f, p.ink,
             true);
    const auto* m = controller.withSources();
    const std::string how = controller.hearingSources() ? "Heard anew ..."
                            : !m                        ? "The sources are not heard yet."
                            : m->sources->guessed       ? "Guessed from the sound, with the names as a hint. What you "
                                                          "choose counts at once, and is kept for this folder."
                                                        : "As you said; kept for this folder.";
    ui::draw(g, how, area.removeFromTop(20.0f), juce::Justification::centredLeft, 12.5f, p.muted);
    auto heads = area.removeFromTop(24.0f);
    heads.setWidth(static_cast<float>(list.getWidth()));
    ui::draw(g, "track", heads.removeFromLeft(heads.getWidth() * Row::trackPercent / 100.0f),
             juce::Justification::bottomLeft, 11.5f, p.accent, true);
    ui::draw(g, "stands", heads.removeFromLeft(heads.getWidth() / 2.0f).reduced(4.0f, 0.0f),
             juce::Justification::bottomLeft, 11.5f, p.accent, true);
    ui::draw(g, "the source is called", heads.reduced(4.0f, 0.0f), juce::Justification::bottomLeft, 11.5f, p.accent,
             true);
}

void StandingSheet::resized() {
    auto area = pageArea().reduced(28, 16);
    area.removeFromTop(headHeight - 16);
    auto foot = area.removeFromBottom(footHeight - 12);
    leave.setBounds(foot.removeFromRight(110));
    foot.removeFromRight(8);
    guess.setBounds(foot.removeFromRight(130));
    area.removeFromBottom(8);
    viewport.setBounds(area);
    list.setSize(area.getWidth() - viewport.getScrollBarThickness() - 2, rowHeight * static_cast<int>(rows.size()));
    for (std::size_t t = 0; t < rows.size(); ++t)
        rows[t]->setBounds(0, rowHeight * static_cast<int>(t), list.getWidth(), rowHeight);
}

// ---- render

RenderSheet::RenderSheet(Controller& c) : Sheet("Render"), controller(c) {
    folder.setText(ui::text((controller.besideRecording() / (controller.sessionName() + " rendered")).string()), false);
    folder.setFont(ui::font(13.5f));
    folder.setTitle("Folder to render into");
    folder.setSelectAllWhenFocused(true);
    folder.onReturnKey = [this] { start(); };
    folder.onEscapeKey = [this] { leaveOrStop(); };
    bits24.setToggleState(true, juce::dontSendNotification);
    for (auto* format : {&bits16, &bits24, &float32})
        format->setRadioGroupId(1);
    withSum.setToggleState(true, juce::dontSendNotification);
    go.setToggleState(true, juce::dontSendNotification); // the one that is meant
    chooseButton.onClick = [this] { choose(); };
    go.onClick = [this] { start(); };
    leave.onClick = [this] { leaveOrStop(); };
    for (juce::Component* part :
         std::initializer_list<juce::Component*>{&folder, &chooseButton, &bits16, &bits24, &float32, &withSum,
                                                 &withSums, &withNotes, &replace, &leave, &go})
        addAndMakeVisible(part);
}

juce::Rectangle<int> RenderSheet::pageArea() const {
    return page(640, 422);
}

void RenderSheet::paint(juce::Graphics& g) {
    Sheet::paint(g);
    const auto& p = ui::palette();
    auto area = pageArea().toFloat().reduced(28.0f, 20.0f);
    ui::draw(g, "Render the setting that is heard", area.removeFromTop(30.0f), juce::Justification::centredLeft, 18.0f,
             p.ink, true);
    ui::draw(g,
             "One file a track with flips, nudges, gains and high-passes applied; the recording itself stays as it is.",
             area.removeFromTop(22.0f), juce::Justification::centredLeft, 12.5f, p.muted);
    const auto heard = controller.heardVersion();
    ui::draw(g,
             heard ? "version " + std::to_string(indexOf(*heard) + 1) + ": " + words::versionName(controller, *heard)
                   : "",
             area.removeFromTop(20.0f), juce::Justification::centredLeft, 12.5f, p.ink);
    if (!wrong.empty()) {
        g.setColour(p.cancels);
        g.setFont(ui::font(12.5f));
        g.drawFittedText(ui::text(wrong), wrongArea(), juce::Justification::centredLeft, 2, 1.0f);
    }
    ui::draw(g, "into the folder", area.removeFromTop(28.0f), juce::Justification::bottomLeft, 12.0f, p.muted);
}

void RenderSheet::resized() {
    auto area = pageArea().reduced(28, 20).withTrimmedTop(104);
    auto line = area.removeFromTop(30);
    chooseButton.setBounds(line.removeFromRight(96));
    folder.setBounds(line.withTrimmedRight(8));
    area.removeFromTop(12);
    line = area.removeFromTop(24);
    bits16.setBounds(line.removeFromLeft(96));
    bits24.setBounds(line.removeFromLeft(96));
    float32.setBounds(line.removeFromLeft(130));
    area.removeFromTop(4);
    for (auto* choice : {&withSum, &withSums, &withNotes, &replace}) {
        choice->setBounds(area.removeFromTop(24));
        area.removeFromTop(4);
    }
    line = area.removeFromBottom(32);
    go.setBounds(line.removeFromRight(110));
    line.removeFromRight(8);
    leave.setBounds(line.removeFromRight(110));
}

void RenderSheet::choose() {
    chooser = std::make_unique<juce::FileChooser>("Render into", juce::File(folder.getText()).getParentDirectory());
    chooser->launchAsync(juce::FileBrowserComponent::openMode | juce::FileBrowserComponent::canSelectDirectories,
                         [this](const juce::FileChooser& done) {
                             if (const auto chosen = done.getResult(); chosen != juce::File())
                                 folder.setText(chosen.getFullPathName());
                             folder.grabKeyboardFocus();
                         });
}

void RenderSheet::start() {
    RenderOptions options;
    options.to = pathOf(folder.getText());
    if (options.to.empty() || !options.to.is_absolute()) {
        return refuse("The folder needs its whole path: choose it, or type it from the start.");
    }
    if (!options.to.has_filename()) options.to = options.to.parent_path();
    options.format = bits16.getToggleState()    ? SampleFormat::int16
                     : float32.getToggleState() ? SampleFormat::float32
                                                : SampleFormat::int24;
    options.replace = replace.getToggleState();
    if (withSum.getToggleState())
        options.sum = options.to.parent_path() / (options.to.filename().string() + " sum.wav");
    if (withNotes.getToggleState())
        options.notes = options.to.parent_path() / (options.to.filename().string() + " notes.txt");
    const auto sums = withSums.getToggleState()
                          ? std::optional(options.to.parent_path() / (options.to.filename().string() + " sums"))
                          : std::nullopt;
    go.setEnabled(false);
    refuse({});
    controller.render(options, sums, [sheet = juce::Component::SafePointer(this)](const Fault& fault) {
        if (!sheet) return false;
        sheet->refuse(fault.line());
        return true;
    });
    started = true;
}

void RenderSheet::leaveOrStop() {
    if (started && controller.busy())
        controller.cancel();
    else if (onClose)
        onClose();
}

bool RenderSheet::keyPressed(const juce::KeyPress& key) {
    if (commandFor(key) != CommandId::leave) return Sheet::keyPressed(key);
    leaveOrStop();
    return true;
}

void RenderSheet::refuse(const std::string& why) {
    wrong = why;
    if (!why.empty()) {
        started = false;
        go.setEnabled(true);
    }
    repaint();
}

void RenderSheet::follow() {
    const bool waits = controller.task() == Controller::Task::rendering && controller.progress() <= 0.0;
    if (std::exchange(started, started && waits) && !started && onClose) onClose();
}

juce::Rectangle<int> RenderSheet::wrongArea() const {
    return pageArea().reduced(28, 20).withTrimmedBottom(36).removeFromBottom(36);
}

} // namespace spillwright::desk
