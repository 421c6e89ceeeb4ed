#include "Desk/StepWords.h"

#include "Desk/Words.h"
#include "Session/Amounts.h"
#include "Session/Setting.h"

namespace spillwright::desk::stepWords {

namespace {

std::string onOff(const char* what, const std::string& names, bool on) {
    return std::string(what) + " of " + names + (on ? "" : " off");
}

std::string keyOf(VersionKind kind) {
    return std::to_string(indexOf(kind) + 1);
}

} // namespace

std::string namesOf(const std::vector<TrackInfo>& tracks, int track, bool linked) {
    const auto quoted = [&](int one) { return "'" + tracks[static_cast<std::size_t>(one)].name + "'"; };
    const auto other = tracks[static_cast<std::size_t>(track)].linkedTo;
    return quoted(track) + (linked && other ? " and " + quoted(*other) : "");
}

std::string flip(const std::string& names, bool flipped) {
    return onOff("flip", names, flipped);
}

std::string nudge(const std::string& names, Seconds nudge) {
    const auto amount = nudgeText(nudge);
    return "nudge of " + names + " to " + amount + (amount == "0" ? "" : " ms");
}

std::string gain(const std::string& names, Decibels gain) {
    return "gain of " + names + " to " + gainText(gain.value) + " dB";
}

std::string pan(const std::string& names, const TrackInfo& track, const TrackAdjustment& adjustment) {
    return "pan of " + names + " to " + panText(effectivePan(track, adjustment));
}

std::string highPass(const std::string& names, const TrackAdjustment& adjustment) {
    if (!adjustment.highPass) return onOff("high-pass", names, false);
    return "high-pass of " + names + " to " + unsignedAmount(adjustment.highPass->value, 0) + " Hz, " +
           std::to_string(inDecibelsPerOctave(adjustment.highPassSlope)) + " dB an octave";
}

std::string mute(const std::string& names, bool muted) {
    return onOff("mute", names, muted);
}

std::string hold(const std::string& names, bool held) {
    return onOff("hold", names, held);
}

std::string links(bool linked) {
    return linked ? "links on" : "links off";
}

std::string hear(VersionKind kind) {
    return "version " + keyOf(kind) + ": " + (isKept(kind) ? "kept" : words::versionName(kind));
}

std::string keep(VersionKind kind) {
    return words::versionName(kind);
}

std::string nameKept(VersionKind kind, const std::string& name) {
    return "name of version " + keyOf(kind) + ": '" + name + "'";
}

std::string rename(const std::string& file, const std::string& name) {
    return "name of '" + file + "' to '" + name + "'";
}

std::string label(const std::string& names, int label) {
    return "label of " + names + (label == 0 ? " off" : " to " + labelLetter(label));
}

std::string place(const std::string& names) {
    return "place of " + names + " in the list";
}

std::string group(const std::string& name) {
    return "group '" + name + "'";
}

std::string ungroup(const std::string& name) {
    return "group '" + name + "' dissolved";
}

} // namespace spillwright::desk::stepWords
