#pragma once

#include "Desk/Controller.h"

#include <juce_core/juce_core.h>

#include <atomic>
#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <thread>

namespace spillwright::desk {

/// Keeps what is not saved: at most keptEvery after a change the whole state is in a file of its own, which goes when
/// the session is saved. What is left of an earlier sitting, crashed or closed, is offered: the newest when the
/// program starts, that of a folder when the folder is opened. A state that a running program keeps is its own, by a
/// lock that ends with the process. All calls on one thread; files are written on another.
class Autosave {
public:
    /// `folder` is made where it is absent.
    Autosave(Controller& controller, std::filesystem::path folder);
    /// Keeps the last change.
    ~Autosave();

    static constexpr Seconds keptEvery = Seconds(1.0);
    /// By a clock that only runs forwards, seconds.
    void poll(double seconds);

    struct Offer {
        std::filesystem::path file;
        std::string words; ///< "Go on where it stopped: 'net-loft', 12:41"
    };
    const std::optional<Offer>& offer() const { return offered; }
    std::function<void()> onOffer; ///< There is an offer, or it has gone.
    void take();
    /// It is not offered again in this sitting, and goes when the same recording's session is saved.
    void decline();

    /// Where this sitting's state is kept; empty: nothing is.
    const std::filesystem::path& ownFile() const { return own; }

private:
    void changed(unsigned what);
    void keep(bool now);
    void forget();
    void begin();
    std::optional<Offer> newest(const std::string& nameBegin) const;
    void setOffer(std::optional<Offer> offer);
    void removeOldest(const std::string& nameBegin);

    Controller& controller;
    const std::filesystem::path folder;
    std::optional<Offer> offered;
    std::set<std::filesystem::path> declined;
    std::filesystem::path own;
    std::unique_ptr<juce::InterProcessLock> lock; ///< Of `own`.
    std::optional<Session> kept;                  ///< What `own` holds.
    std::optional<double> lastLook;
    std::atomic<bool> writing{false};
    std::string fault; ///< [of the writer until it is joined]
    bool faultTold = false;
    std::jthread writer; // last: it ends before what it writes goes
};

} // namespace spillwright::desk
