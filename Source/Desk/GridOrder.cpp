#include "Desk/GridOrder.h"

#include "Core/Measure/Seriation.h"

#include <algorithm>

namespace spillwright::desk {

std::string nameOf(GridOrder order, const Controller& controller) {
    switch (order) {
    case GridOrder::listed: {
        const auto& list = controller.trackList().order;
        return std::is_sorted(list.begin(), list.end()) ? "by file" : "as listed";
    }
    case GridOrder::likeness:
        return "by likeness";
    case GridOrder::spill:
        return "by spill";
    }
    return {};
}

GridOrder after(GridOrder order) {
    return order == GridOrder::listed     ? GridOrder::likeness
           : order == GridOrder::likeness ? GridOrder::spill
                                          : GridOrder::listed;
}

std::vector<int> tracksIn(GridOrder order, const Controller& controller) {
    auto tracks = controller.trackList().order;
    if (order == GridOrder::likeness && controller.measurement()) {
        const auto& usable = controller.measurement()->usable;
        const std::size_t count = usable.size();
        std::vector<double> distances(count * count, 0.0);
        for (std::size_t a = 0; a < count; ++a)
            for (std::size_t b = 0; b < count; ++b)
                if (const auto* reading = controller.reading(usable[a], usable[b]))
                    distances[a * count + b] = reading->related ? 1.0 - reading->coherence : 1.0;
        auto ordered = std::vector<int>();
        for (int place : seriate(static_cast<int>(count), distances))
            ordered.push_back(usable[static_cast<std::size_t>(place)]);
        for (int track : tracks)
            if (std::find(usable.begin(), usable.end(), track) == usable.end()) ordered.push_back(track);
        return ordered;
    }
    if (order == GridOrder::spill)
        std::stable_sort(tracks.begin(), tracks.end(), [&](int a, int b) {
            return controller.spillShare(a).value_or(-1.0) > controller.spillShare(b).value_or(-1.0);
        });
    return tracks;
}

} // namespace spillwright::desk
