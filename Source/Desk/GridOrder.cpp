#include "Desk/GridOrder.h"

#include "Core/Measure/Seriation.h"

#include <algorithm>
#include <numeric>

namespace spillwright::desk {

const char* nameOf(GridOrder order) {
    switch (order) {
    case GridOrder::file:
        return "by file";
    case GridOrder::likeness:
        return "by likeness";
    case GridOrder::spill:
        return "by spill";
    }
    return "";
}

GridOrder after(GridOrder order) {
    return order == GridOrder::file       ? GridOrder::likeness
           : order == GridOrder::likeness ? GridOrder::spill
                                          : GridOrder::file;
}

std::vector<int> tracksIn(GridOrder order, const Controller& controller) {
    std::vector<int> tracks(static_cast<std::size_t>(controller.trackCount()));
    std::iota(tracks.begin(), tracks.end(), 0);
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
